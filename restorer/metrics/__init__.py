"""How well the installation is: figures for machines that watch, and plain words for the owner."""

from restorer.metrics.exposition import write_metrics
from restorer.metrics.request_times import RequestTimesMiddleware, forget_request_times
from restorer.metrics.wellbeing import (
    Trouble,
    Wellbeing,
    count_overdue_messages,
    find_troubles,
    read_wellbeing,
    silent_loops,
)

__all__ = [
    "RequestTimesMiddleware",
    "Trouble",
    "Wellbeing",
    "count_overdue_messages",
    "find_troubles",
    "forget_request_times",
    "read_wellbeing",
    "silent_loops",
    "write_metrics",
]
