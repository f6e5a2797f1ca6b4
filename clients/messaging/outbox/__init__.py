"""The outbox: what is to be said to clients, said at most once, and never lost from sight."""

from clients.messaging.outbox.decisions import cancel, confirm, hold, release, send_again
from clients.messaging.outbox.delivering import deliver
from clients.messaging.outbox.permission import Contactable, Refusal, contactable
from clients.messaging.outbox.queueing import Unsendable, queue_message
from clients.messaging.outbox.sender import Tally
from clients.messaging.outbox.sweeping import sweep
from clients.messaging.outbox.unsubscribing import unsubscribe

__all__ = [
    "Contactable",
    "Refusal",
    "Tally",
    "Unsendable",
    "cancel",
    "confirm",
    "contactable",
    "deliver",
    "hold",
    "queue_message",
    "release",
    "send_again",
    "sweep",
    "unsubscribe",
]
