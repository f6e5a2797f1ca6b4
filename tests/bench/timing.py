"""Fair timing: pairs in turn in one process, so that a slow moment of the machine meets both
sides."""

import gc
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from restorer.local.web_server import set_collecting


@dataclass(frozen=True)
class TimedPair:
    """Seconds of ours and of the other side, run in turn."""

    ours: Sequence[float]
    other: Sequence[float]

    @property
    def ratio(self) -> float:
        """Median of the ratios pair by pair."""
        return statistics.median(
            ours / other for ours, other in zip(self.ours, self.other, strict=True)
        )


@contextmanager
def collecting_as_served() -> Iterator[None]:
    """Python looks for circles of objects as in a web process: not through what made the book."""
    usual = gc.get_threshold()
    set_collecting()
    try:
        yield
    finally:
        gc.set_threshold(*usual)
        gc.unfreeze()


def elapsed_seconds(act: Callable[[], object]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


def time_in_turn(
    ours: Callable[[], object], other: Callable[[], object], *, times: int
) -> TimedPair:
    """One warm-up of each, then `times` pairs."""
    ours()
    other()
    pairs = [(elapsed_seconds(ours), elapsed_seconds(other)) for _ in range(times)]
    return TimedPair([pair[0] for pair in pairs], [pair[1] for pair in pairs])


def percentile(values: Sequence[float], share: float) -> float:
    ranked = sorted(values)
    return ranked[min(len(ranked) - 1, int(share * len(ranked)))]
