"""The outbox: what is to be said to clients, said at most once, and never lost from sight."""

from clients.outbox.delivering import deliver
from clients.outbox.doors import cancel, confirm, hold, release, send_again
from clients.outbox.permission import Contactable, Refusal, contactable
from clients.outbox.queueing import Unsendable, queue_message
from clients.outbox.sender import Tally
from clients.outbox.sweeping import sweep
from clients.outbox.unsubscribing import unsubscribe

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
