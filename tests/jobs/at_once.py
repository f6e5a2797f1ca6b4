"""Several people at the very same moment, each on a connection of their own."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

from django.db import connections


def at_once(*deeds: Callable[[], Any]) -> list[Any]:
    """What each deed gave back, or the exception it ended with."""
    start = Barrier(len(deeds))

    def run(deed: Callable[[], Any]) -> Any:
        try:
            start.wait(10)
            return deed()
        except Exception as error:
            return error
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(deeds)) as pool:
        return [future.result() for future in [pool.submit(run, deed) for deed in deeds]]
