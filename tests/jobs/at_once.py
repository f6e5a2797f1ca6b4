"""Several people at the very same moment, each on a connection of their own."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

from django.db import connections


def at_once(*actions: Callable[[], Any]) -> list[Any]:
    """What each action gave back, or the exception it ended with."""
    start = Barrier(len(actions))

    def run(action: Callable[[], Any]) -> Any:
        try:
            start.wait(10)
            return action()
        except Exception as error:
            return error
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(actions)) as pool:
        return [future.result() for future in [pool.submit(run, action) for action in actions]]
