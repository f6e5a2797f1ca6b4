"""Calls: who is to be phoned, and what came of it."""

from clients.messaging.channels.calls.listing import DueCall, due_calls

__all__ = ["DueCall", "due_calls"]
