"""What a sender has the database write down of the messages that it hands over, and what the
answers allow.

The pipeline sends statements to PostgreSQL ahead of their answer, so that it works while the mail
server does: libpq's pipeline mode. Nothing irrevocable may happen before `fetch_results`
(docs/decisions/0029).
"""

import time
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any
from weakref import WeakSet

from django.db import Error, OperationalError, connection
from django.db.models.functions import Now
from django.utils import timezone
from psycopg.pq import ConnStatus, ExecStatus

from clients.messaging.channels import SendOutcome, SendResult
from clients.messaging.models import Message
from clients.messaging.outbox import leases, outcomes
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.messaging.suppression import address_hash, normalize_address
from clients.models import Business

FAILED_STATUSES = {ExecStatus.FATAL_ERROR, ExecStatus.PIPELINE_ABORTED, ExecStatus.BAD_RESPONSE}
prepared_connections: WeakSet[Any] = WeakSet()  # connections that know the statements


class StatementPipeline:
    """A line to the database that need not be waited for.
    No other query may run while an answer is open."""

    def __init__(self, statements: Mapping[str, str]) -> None:
        self.statements = statements
        self.pgconn: Any = None
        self.is_pending = False  # an answer has not been read

    def send_transaction(self, steps: Sequence[tuple[str, Sequence[object]]]) -> None:
        """Send prepared statements off, by name and with their values, as one transaction."""
        with connection.wrap_database_errors:
            self.prepare_statements()
            self.is_pending = True
            for name, values in steps:
                self.pgconn.send_query_prepared(
                    name.encode(), [str(value).encode() for value in values]
                )
            self.pgconn.pipeline_sync()
            self.pgconn.flush()

    def prepare_statements(self) -> None:
        """Plan the statements once for each connection: planning takes longer than doing."""
        connection.ensure_connection()
        self.pgconn = connection.connection.pgconn
        if connection.connection not in prepared_connections:
            for name, statement in self.statements.items():
                raise_on_failure(self.pgconn.prepare(name.encode(), statement.encode()))
            prepared_connections.add(connection.connection)
        self.pgconn.enter_pipeline_mode()

    def fetch_results(self) -> list[int]:
        """How many rows each statement of the last transaction returned. Waits; Error if the
        connection broke."""
        if not self.is_pending:
            return []
        try:
            with connection.wrap_database_errors:
                counts = self.read_counts()
                self.pgconn.exit_pipeline_mode()
        except BaseException:
            connection.close()  # half-read answers would be taken for those of the next query
            raise
        finally:
            self.is_pending = False
        return counts

    def read_counts(self) -> list[int]:
        """Each statement answers with a result and a None, the transaction with a Sync."""
        counts: list[int] = []
        while (
            result := self.pgconn.get_result()
        ) is None or result.status != ExecStatus.PIPELINE_SYNC:
            if result is None:
                self.check_connection()
            else:
                counts.append(raise_on_failure(result).ntuples)
        return counts

    def check_connection(self) -> None:
        """None only parts one statement from the next, unless there is no connection any more."""
        if self.pgconn.status != ConnStatus.OK:
            raise OperationalError("The database went away.")


def raise_on_failure(result: Any) -> Any:
    if result.status in FAILED_STATUSES:
        raise OperationalError(
            (result.error_message or b"The database went away.").decode(errors="replace")
        )
    return result


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
            leases.requeue_leased([self.in_hand])
