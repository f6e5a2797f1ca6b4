"""The text message gateway:
its row, the secret of its hooks, and a message to try it."""

import secrets
from datetime import datetime

from django.db import transaction

from clients.messaging.channels import GatewayTransport, SendOutcome
from clients.messaging.models import Message, TextGateway
from clients.messaging.models.gateway import secret_hash
from clients.models import Business


@transaction.atomic
def save_gateway(*, gateway: TextGateway) -> TextGateway:
    gateway.id = 1
    gateway.save()
    return gateway


@transaction.atomic
def create_hook_secret(*, gateway: TextGateway) -> str:
    """256 bits, shown once; only their hash is kept.
    The addresses made of an earlier one stop working."""
    secret = secrets.token_urlsafe(32)
    gateway.hook_hash = secret_hash(secret)
    gateway.save(update_fields=["hook_hash"])
    return secret


class UnconditionalPermit:
    """No outbox speaks against a message to oneself."""

    def request(self) -> None:
        """There is nothing to ask."""

    def is_granted(self) -> bool:
        return True


def send_trial(*, business: Business, number: str, now: datetime) -> SendOutcome:
    """One text message outside the outbox.
    Raises `TransportDownError` if nobody is there or no gateway is in use."""
    text = (
        f"{business.name}: this is a test of {now.astimezone(business.zone):%H:%M:%S}. Text"
        " messages work."
    )
    message = Message(
        address=number, text=text, message_id=f"<trial{secrets.token_hex(12)}@localhost>"
    )
    line = GatewayTransport(business)
    try:
        line.connect()
        return line.send(message, UnconditionalPermit())
    finally:
        line.close()
