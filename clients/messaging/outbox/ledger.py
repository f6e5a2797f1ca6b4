"""What a sender has the database write down about a batch, ahead of its answers, and what those answers allow."""

import json
import time
from collections.abc import Sequence
from datetime import timedelta
from math import inf

from django.db import Error, connection

from clients.messaging.channels.contract import Outcome
from clients.messaging.models import Message
from clients.messaging.outbox import outcomes, transitions
from clients.messaging.outbox.ahead import Ahead
from clients.messaging.suppression import address_hash, normalize
from clients.models import Business

FRESH_SECONDS = 0.1  # a last look that is older is taken again
RESCUE_WAITS = (0.2, 0.5, 1, 2, 4, 8, 8, 8)


class Record:
    """The steps of a batch under one lease, whose messages are handed over one after the other.

    None is handed over before the acceptance of the one before is written down. Hence of what a sender leaves in
    *transmitting* when it dies only the first may have gone out (see sweeping.py), however many were looked at ahead.
    """

    def __init__(self, business: Business, lease_seconds: float) -> None:
        self.business = business
        self.lease = timedelta(seconds=lease_seconds)
        self.ahead = Ahead(transitions.AHEAD)
        self.looked_at: dict[int, tuple[Message, float]] = {}  # and when; nothing of these is handed over
        self.cleared: set[int] = set()  # the last look said yes
        self.known: dict[int, tuple[Message, Outcome]] = {}  # how tries ended, and the database has not confirmed
        self.untold: Message | None = None  # accepted, and the database does not know
        self.asked: list[Message | None] = []  # what answers are open: None for a look, else whose acceptance

    def look_at(self, messages: Sequence[Message], step: str = "transmit") -> None:
        """Ask for the step to transmitting and all that speaks against it, in one statement; in the order of locks."""
        now = time.monotonic()
        self.looked_at |= {message.pk: (message, now) for message in messages}
        given = [self.identity(message) for message in sorted(messages, key=lambda message: message.pk)]
        self.ahead.ask(step, [messages[0].lease_token, self.lease, json.dumps(given)])
        self.asked.append(None)

    def identity(self, message: Message) -> dict[str, object]:
        """By what the last look finds a message, and what may stand against its address."""
        return {
            "id": message.pk,
            "hash": address_hash(self.business, message.channel, message.address),
            "spelling": normalize(message.channel, message.address),
        }

    def accepted(self, message: Message, outcome: Outcome) -> None:
        """The database is told as soon as the far side has something to do, or before anything hangs on it."""
        self.known[message.pk] = message, outcome
        self.untold = message

    def tell(self) -> None:
        message, self.untold = self.untold, None
        if message is not None:
            outcome = self.known[message.pk][1]
            self.ahead.ask("accept", [message.pk, message.lease_token, outcome.reply, outcome.provider_id])
            self.asked.append(message)

    def may_go(self, message: Message) -> bool:
        """By a look that is fresh, and once all that was handed over before is written down. Waits."""
        if message.pk not in self.looked_at:
            self.look_at([message])
        self.settle()
        if time.monotonic() - self.looked_at[message.pk][1] > FRESH_SECONDS:
            self.cleared.discard(message.pk)
            self.look_at([message], "again")
            self.settle()
        del self.looked_at[message.pk]
        return message.pk in self.cleared

    def settle(self) -> None:
        """Tell the database all that it does not know, and read its answers."""
        self.tell()
        asked, self.asked = self.asked, []
        for message, changed in zip(asked, self.ahead.answers(), strict=True):
            if message is None:
                self.cleared.update(changed)
            else:
                del self.known[message.pk]
                if not changed:
                    self.lost(message)

    def lost(self, message: Message) -> None:
        """Our time had run out, so others may have what was looked at: all is looked at again."""
        transitions.accept_late(message)
        self.looked_at = {pk: (other, -inf) for pk, (other, _) in self.looked_at.items()}

    def write(self, message: Message, outcome: Outcome) -> str:
        """How a try ended that was not accepted; the word of the tally."""
        self.known[message.pk] = message, outcome
        self.looked_at.pop(message.pk, None)
        self.settle()
        word = outcomes.write(self.business, message, outcome)
        del self.known[message.pk]
        return word

    def rescue(self) -> None:
        """The database went away; what only this process knows is written down as soon as it is back."""
        for wait in RESCUE_WAITS if self.known or self.looked_at else ():
            time.sleep(wait)
            connection.close()
            try:
                self.write_known()
            except Error:
                continue
            return

    def write_known(self) -> None:
        for message, outcome in self.known.values():
            outcomes.write(self.business, message, outcome)
        outcomes.give_back([message for message, _ in self.looked_at.values()])
