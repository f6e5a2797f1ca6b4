"""Deeds about the text message gateway: its row, the secret of its hooks, and a message to try it."""

import secrets
from datetime import datetime

from django.db import transaction

from clients.messaging.channels.contract import Outcome
from clients.messaging.channels.text import GatewayLine
from clients.messaging.incoming.hooks.reading import hash_of
from clients.messaging.models import Message, TextGateway
from clients.models import Business


@transaction.atomic
def keep_gateway(*, gateway: TextGateway) -> TextGateway:
    gateway.id = 1
    gateway.save()
    return gateway


@transaction.atomic
def new_hook_secret(*, gateway: TextGateway) -> str:
    """256 bits, shown once; only their hash is kept. The addresses made of an earlier one stop working."""
    secret = secrets.token_urlsafe(32)
    gateway.hook_hash = hash_of(secret)
    gateway.save(update_fields=["hook_hash"])
    return secret


class Go:
    """No outbox speaks against a message to oneself."""

    def start(self) -> None:
        """There is nothing to ask."""

    def go(self) -> bool:
        return True

    def upcoming(self) -> None:
        return None


def send_trial(*, business: Business, number: str, now: datetime) -> Outcome:
    """One text message outside the outbox. Raises `LineDownError` if nobody is there or no gateway is in use."""
    text = f"{business.name}: this is a test of {now.astimezone(business.zone):%H:%M:%S}. Text messages work."
    message = Message(address=number, text=text, message_id=f"<trial{secrets.token_hex(12)}@localhost>")
    line = GatewayLine(business)
    try:
        line.connect()
        return line.send(message, Go())
    finally:
        line.close()
