"""What gateways post to us: reports of what became of a message, and what clients write back."""

from clients.hooks.intake import BadReportError, ForgedError, UnknownHookError, finish, receive

__all__ = ["BadReportError", "ForgedError", "UnknownHookError", "finish", "receive"]
