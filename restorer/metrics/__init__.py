"""How well the installation is: figures for machines that watch, and plain words for the owner."""

from restorer.metrics.exposition import write_metrics
from restorer.metrics.request_times import RequestTimesMiddleware, forget_request_times
from restorer.metrics.wellbeing import STALE_LOOP, Trouble, Wellbeing, find_troubles, read_wellbeing

__all__ = [
    "STALE_LOOP",
    "RequestTimesMiddleware",
    "Trouble",
    "Wellbeing",
    "find_troubles",
    "forget_request_times",
    "read_wellbeing",
    "write_metrics",
]
