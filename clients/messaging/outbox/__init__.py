"""The outbox: what is to be said to clients, said at most once, and never lost from sight."""

from clients.messaging.outbox.decisions import (
    cancel_unsent,
    confirm_sent,
    hold_message,
    release_message,
    resend_message,
)
from clients.messaging.outbox.leases import sweep
from clients.messaging.outbox.opt_out import unsubscribe_by_token
from clients.messaging.outbox.queueing import OutgoingMessage, queue_message
from clients.messaging.outbox.sender import DeliveryTally, deliver
from clients.messaging.unsendable import Unsendable

__all__ = [
    "DeliveryTally",
    "OutgoingMessage",
    "Unsendable",
    "cancel_unsent",
    "confirm_sent",
    "deliver",
    "hold_message",
    "queue_message",
    "release_message",
    "resend_message",
    "sweep",
    "unsubscribe_by_token",
]
