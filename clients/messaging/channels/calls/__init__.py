"""Calls: who is to be phoned, and what came of it."""

from clients.messaging.channels.calls.listing import Call, to_make

__all__ = ["Call", "to_make"]
