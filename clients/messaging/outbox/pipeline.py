"""Statements sent to PostgreSQL ahead of their answer, so that it works while the mail server does.

It is libpq's pipeline mode. Nothing irrevocable may happen before `answers` has been read; see
docs/decisions/0007.
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
    No other query may run while answers are open."""

    def __init__(self, statements: Mapping[str, str]) -> None:
        self.statements = statements
        self.pgconn: Any = None
        self.pending = 0  # statements whose answers have not been read

    def send_statement(self, name: str, values: Sequence[Any]) -> None:
        """Send one of the prepared statements, by name, off as a transaction of its own."""
        with connection.wrap_database_errors:
            if not self.pending:
                self.prepare_statements()
            self.pgconn.send_query_prepared(
                name.encode(), [str(value).encode() for value in values]
            )
            self.pgconn.pipeline_sync()
            self.pending += 1
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

    def fetch_results(self) -> list[list[int]]:
        """For each statement asked since the last call, the rows it changed. Waits;
        Error if the line broke."""
        if not self.pending:
            return []
        try:
            with connection.wrap_database_errors:
                found = [self.read_result() for _ in range(self.pending)]
                self.pgconn.exit_pipeline_mode()
        except BaseException:
            connection.close()  # half-read answers would be taken for those of the next query
            raise
        finally:
            self.pending = 0
        return found

    def read_result(self) -> list[int]:
        """A statement answers with one result and a None, its transaction with a Sync."""
        ids: list[int] = []
        while (
            result := self.pgconn.get_result()
        ) is None or result.status != ExecStatus.PIPELINE_SYNC:
            if result is None:
                self.check_connection()
            else:
                ids = [
                    int(raise_on_failure(result).get_value(row, 0)) for row in range(result.ntuples)
                ]
        return ids

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
