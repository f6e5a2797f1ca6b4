"""Calls: who is to be phoned, and what came of it."""

from clients.messaging.channels.calls.listing import (
    DueCall,
    calls_to_make,
    due_calls,
    waiting_calls,
)

__all__ = ["DueCall", "calls_to_make", "due_calls", "waiting_calls"]
