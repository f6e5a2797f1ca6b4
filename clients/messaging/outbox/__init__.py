"""The outbox: what is to be said to clients, said at most once, and never lost from sight."""

from clients.messaging.outbox.book_hold import hold_book, release_book
from clients.messaging.outbox.compliance import expire_after
from clients.messaging.outbox.decisions import (
    cancel_unsent,
    confirm_sent,
    dismiss_message,
    hold_message,
    release_message,
    resend_message,
)
from clients.messaging.outbox.fallback import is_in_doubt
from clients.messaging.outbox.leases import sweep
from clients.messaging.outbox.opt_out import unsubscribe_by_token
from clients.messaging.outbox.outcomes import MAX_ATTEMPTS, retry_pause
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.messaging.outbox.queueing import OutgoingMessage, queue_message
from clients.messaging.outbox.sender import DeliveryTally, deliver
from clients.messaging.outbox.taking_back import TakenBack, open_sending, take_back_sending
from clients.messaging.outbox.transitions import Transition, apply_transition, write_message_events
from clients.messaging.unsendable import Unsendable

__all__ = [
    "MAX_ATTEMPTS",
    "DeliveryTally",
    "OutgoingMessage",
    "TakenBack",
    "Transition",
    "Unsendable",
    "apply_transition",
    "cancel_unsent",
    "confirm_sent",
    "deliver",
    "dismiss_message",
    "expire_after",
    "hold_book",
    "hold_message",
    "is_in_doubt",
    "open_sending",
    "queue_message",
    "reasons_not_to_send",
    "release_book",
    "release_message",
    "resend_message",
    "retry_pause",
    "sweep",
    "take_back_sending",
    "unsubscribe_by_token",
    "write_message_events",
]
