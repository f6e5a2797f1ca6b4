"""What a sender has the database write down about a batch, ahead of its answers, and what those
answers allow."""

import json
import time
from collections.abc import Sequence
from datetime import timedelta
from math import inf

from django.db import Error, connection
from django.utils import timezone

from clients.messaging.channels.transport import SendOutcome
from clients.messaging.models import Message
from clients.messaging.outbox import leases, outcomes
from clients.messaging.outbox.pipeline import StatementPipeline
from clients.messaging.suppression import address_hash, normalize_address
from clients.models import Business

PERMIT_FRESH_SECONDS = 0.1  # a last look that is older is taken again
RECOVERY_WAITS = (0.2, 0.5, 1, 2, 4, 8, 8, 8)


class Ledger:
    """The steps of a batch under one lease, whose messages are handed over one after the other.

    None is handed over before the acceptance of the one before is written down. Hence of what a
    sender leaves in *transmitting* when it dies only the first may have gone out (see sweeping.py),
    however many were looked at ahead.
    """

    def __init__(self, business: Business, lease_seconds: float) -> None:
        self.business = business
        self.lease = timedelta(seconds=lease_seconds)
        self.pipeline = StatementPipeline(leases.PIPELINE_STATEMENTS)
        self.requested: dict[
            int, tuple[Message, float]
        ] = {}  # and when; nothing of these is handed over
        self.permitted: set[int] = set()  # the last look said yes
        self.unsaved: dict[
            int, tuple[Message, SendOutcome]
        ] = {}  # how tries ended, and the database has not confirmed
        self.unflushed: Message | None = None  # accepted, and the database does not know
        self.awaited: list[
            Message | None
        ] = []  # what answers are open: None for a look, else whose acceptance

    def request_permits(self, messages: Sequence[Message], step: str = "transmit") -> None:
        """Ask for the step to transmitting and all that speaks against it, in one statement;
        in the order of locks."""
        now = time.monotonic()
        self.requested |= {message.pk: (message, now) for message in messages}
        given = [
            self.permit_values(message)
            for message in sorted(messages, key=lambda message: message.pk)
        ]
        today = self.business.today(timezone.now())
        values = [messages[0].lease_token, self.lease, json.dumps(given), today]
        self.pipeline.send_statement(step, values)
        self.awaited.append(None)

    def permit_values(self, message: Message) -> dict[str, object]:
        """By what the last look finds a message, and what may stand against its address."""
        return {
            "id": message.pk,
            "hash": address_hash(self.business, message.channel, message.address),
            "spelling": normalize_address(message.channel, message.address),
        }

    def accepted(self, message: Message, outcome: SendOutcome) -> None:
        """The database is told as soon as the far side has something to do, or before anything
        hangs on it."""
        self.unsaved[message.pk] = message, outcome
        self.unflushed = message

    def flush(self) -> None:
        message = self.unflushed
        self.unflushed = None
        if message is not None:
            outcome = self.unsaved[message.pk][1]
            self.pipeline.send_statement(
                "accept", [message.pk, message.lease_token, outcome.reply, outcome.provider_id]
            )
            self.awaited.append(message)

    def is_permitted(self, message: Message) -> bool:
        """By a look that is fresh, and once all that was handed over before is written down.
        Waits."""
        if message.pk not in self.requested:
            self.request_permits([message])
        self.sync()
        if time.monotonic() - self.requested[message.pk][1] > PERMIT_FRESH_SECONDS:
            self.permitted.discard(message.pk)
            self.request_permits([message], "again")
            self.sync()
        del self.requested[message.pk]
        return message.pk in self.permitted

    def sync(self) -> None:
        """Tell the database all that it does not know, and read its answers."""
        self.flush()
        asked = self.awaited
        self.awaited = []
        for message, changed in zip(asked, self.pipeline.fetch_results(), strict=True):
            if message is None:
                self.permitted.update(changed)
            else:
                del self.unsaved[message.pk]
                if not changed:
                    self.handle_lost_lease(message)

    def handle_lost_lease(self, message: Message) -> None:
        """Our time had run out, so others may have what was looked at: all is looked at again."""
        leases.accept_late(message)
        self.requested = {pk: (other, -inf) for pk, (other, _) in self.requested.items()}

    def write(self, message: Message, outcome: SendOutcome) -> str:
        """How a try ended that was not accepted; the word of the tally."""
        self.unsaved[message.pk] = message, outcome
        self.requested.pop(message.pk, None)
        self.sync()
        tally_key = outcomes.record_outcome(self.business, message, outcome)
        del self.unsaved[message.pk]
        return tally_key

    def recover(self) -> None:
        """The database went away; what only this process knows is written down as soon as it is
        back."""
        for wait in RECOVERY_WAITS if self.unsaved or self.requested else ():
            time.sleep(wait)
            connection.close()
            try:
                self.write_unsaved()
            except Error:
                continue
            return

    def write_unsaved(self) -> None:
        for message, outcome in self.unsaved.values():
            outcomes.record_outcome(self.business, message, outcome)
        outcomes.requeue_leased([message for message, _ in self.requested.values()])
