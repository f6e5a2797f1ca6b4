"""What a sender has the database write down of the messages that it hands over, and what the
answers allow."""

import time
from datetime import date, timedelta

from django.db import Error, connection
from django.db.models.functions import Now
from django.utils import timezone

from clients.messaging.channels.transport import SendOutcome, SendResult
from clients.messaging.models import Message
from clients.messaging.outbox import leases, outcomes
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.messaging.outbox.pipeline import StatementPipeline
from clients.messaging.suppression import address_hash, normalize_address
from clients.models import Business

PERMIT_FRESH_SECONDS = 0.1  # a final check that is older is made again
RECOVERY_WAITS = (0.2, 0.5, 1, 2, 4, 8, 8, 8)
Step = tuple[str, list[object]]  # a prepared statement and its values


class Ledger:
    """The steps of one sender, which hands one message over after the other.

    None is handed over before the outcome of the one before is written down. Hence a sender that
    dies leaves at most one message of which nobody knows whether it went out.
    """

    def __init__(self, business: Business, lease_seconds: float) -> None:
        self.business = business
        self.lease = timedelta(seconds=lease_seconds)
        self.pipeline = StatementPipeline(leases.PIPELINE_STATEMENTS)
        self.in_hand: Message | None = None  # its final check was asked for
        self.asked_at = 0.0
        # how the last try ended, and the database has not confirmed it
        self.unsaved: tuple[Message, SendOutcome] | None = None
        self.is_unsaved_sent = False  # an answer about it will come

    def request_permit(self, message: Message) -> None:
        """Ask for the final check (all that speaks against a message, and its step to
        *transmitting*), and tell how the one before ended."""
        self.in_hand = message
        self.asked_at = time.monotonic()
        self.send_steps([self.transmit_step(message)])

    def is_permitted(self) -> bool:
        """Whether what is in hand may go, by a check that is fresh, and once all that was handed
        over before is written down. Waits."""
        message = self.in_hand
        assert message is not None  # noqa: S101 - it was asked for
        if not self.read_answers()[-1]:
            return False
        if time.monotonic() - self.asked_at <= PERMIT_FRESH_SECONDS:
            return True
        if not leases.leased_row(message).filter(lease_until__gt=Now()).exists():
            return False
        return not reasons_not_to_send(self.business, [message], today=self.today())

    def today(self) -> date:
        return self.business.today(timezone.now())

    def write(self, message: Message, outcome: SendOutcome) -> str:
        """How a try ended; the word of the tally. The database learns of an acceptance as soon as
        the receiver has something to do, or before anything hangs on it."""
        if outcome.result is not SendResult.ACCEPTED:
            self.sync()
        self.in_hand = None
        self.unsaved = message, outcome
        if outcome.result is SendResult.ACCEPTED:
            return "accepted"
        tally_key = outcomes.record_outcome(self.business, message, outcome)
        self.unsaved = None
        return tally_key

    def sync(self) -> None:
        """Tell the database all that it does not know, and read its answers."""
        self.send_steps([])
        self.read_answers()

    def send_steps(self, steps: list[Step]) -> None:
        if self.unsaved and not self.is_unsaved_sent:
            self.is_unsaved_sent = True
            steps = [self.accept_step(*self.unsaved), *steps]
        if steps:
            self.pipeline.send_transaction(steps)

    def read_answers(self) -> list[int]:
        counts = self.pipeline.fetch_results()
        if self.unsaved and self.is_unsaved_sent:
            message = self.unsaved[0]
            self.unsaved = None
            self.is_unsaved_sent = False
            if not counts[0]:
                leases.accept_late(message)
        return counts

    def transmit_step(self, message: Message) -> Step:
        return "transmit", [
            message.pk,
            message.lease_token,
            self.lease,
            address_hash(self.business, message.channel, message.address),
            normalize_address(message.channel, message.address),
            self.today(),
        ]

    def accept_step(self, message: Message, outcome: SendOutcome) -> Step:
        return "accept", [message.pk, message.lease_token, outcome.reply, outcome.provider_id]

    def recover(self) -> None:
        """The database went away; what only this process knows is written down as soon as it is
        back."""
        for wait in RECOVERY_WAITS if self.unsaved or self.in_hand else ():
            time.sleep(wait)
            connection.close()
            try:
                self.write_unsaved()
            except Error:
                continue
            return

    def write_unsaved(self) -> None:
        if self.unsaved:
            outcomes.record_outcome(self.business, *self.unsaved)
        if self.in_hand:
            outcomes.requeue_leased([self.in_hand])
