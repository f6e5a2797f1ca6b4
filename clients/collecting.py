"""Python's search for circles of objects, held back while much is made that holds few of them."""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count

CHUNKS_A_COLLECTION = 10


@contextmanager
def without_collecting() -> Iterator[Callable[[], object]]:
    """Rows that are read hold no circles, and looking for them among all else that a process keeps
    took half of its time; boxes on paper hold few, which are found at once when the paper is done
    (an eighth of its time). What is yielded, called after each chunk of rows, looks now and then
    all the same, so that memory stays flat whatever a library leaves behind."""
    was_on = gc.isenabled()
    gc.disable()
    chunks = count(1)

    def collect() -> None:
        if next(chunks) % CHUNKS_A_COLLECTION == 0:
            gc.collect()
            gc.freeze()  # what is left is not looked at again

    try:
        yield collect
    finally:
        if next(chunks) > CHUNKS_A_COLLECTION:
            gc.unfreeze()
        if was_on:
            gc.enable()
