"""What gateways and mail services post to us:
what became of a message, and what clients write back."""

from clients.messaging.incoming.hooks.intake import (
    finish_events,
    log_refused_post,
    receive_gateway_post,
)
from clients.messaging.incoming.hooks.results import (
    BadReportError,
    ForgedError,
    UnknownHookError,
)

__all__ = [
    "BadReportError",
    "ForgedError",
    "UnknownHookError",
    "finish_events",
    "log_refused_post",
    "receive_gateway_post",
]
