"""What was made of an event."""

from dataclasses import dataclass

from clients.models import Client, Message


@dataclass(frozen=True)
class Made:
    """In words, and whom it was about."""

    words: str
    message: Message | None = None
    client: Client | None = None
