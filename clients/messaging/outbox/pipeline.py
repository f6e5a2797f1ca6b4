"""Statements sent to PostgreSQL ahead of their answer, so that it works while the mail server does.

It is libpq's pipeline mode. Nothing irrevocable may happen before `fetch_results`; see
docs/decisions/0029.
"""

from collections.abc import Mapping, Sequence
from typing import Any
from weakref import WeakSet

from django.db import OperationalError, connection
from psycopg.pq import ConnStatus, ExecStatus

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
