"""Statements sent to PostgreSQL ahead of their answer, so that it works while the mail server does.

It is libpq's pipeline mode; what leaves together is one transaction. Nothing irrevocable may happen before
`answers` has been read; see docs/decisions/0007.
"""

from collections.abc import Mapping, Sequence
from typing import Any
from weakref import WeakSet

from django.db import OperationalError, connection
from psycopg.pq import ConnStatus, ExecStatus

FAILED = {ExecStatus.FATAL_ERROR, ExecStatus.PIPELINE_ABORTED, ExecStatus.BAD_RESPONSE}
prepared: WeakSet[Any] = WeakSet()  # connections that know the statements


class Ahead:
    """A line to the database that need not be waited for. No other query may run while answers are open."""

    def __init__(self, statements: Mapping[str, str]) -> None:
        self.statements = statements
        self.pgconn: Any = None
        self.is_open = False
        self.is_waiting = False  # something was added and has not left

    def add(self, name: str, values: Sequence[Any]) -> None:
        """One of the prepared statements, by name; it leaves with the next `flush`."""
        if not self.is_open:
            self.get_ready()
        self.pgconn.send_query_prepared(name.encode(), [str(value).encode() for value in values])
        self.is_waiting = True

    def get_ready(self) -> None:
        """Plan the statements once for each connection: planning takes longer than doing."""
        connection.ensure_connection()
        self.pgconn = connection.connection.pgconn
        if connection.connection not in prepared:
            for name, statement in self.statements.items():
                checked(self.pgconn.prepare(name.encode(), statement.encode()))
            prepared.add(connection.connection)
        self.pgconn.enter_pipeline_mode()
        self.is_open = True

    def flush(self) -> None:
        """What was added since goes off as one transaction."""
        if self.is_waiting:
            self.pgconn.pipeline_sync()
            self.pgconn.flush()
        self.is_waiting = False

    def answers(self) -> list[bool]:
        """For each statement, whether it changed a row. Waits; OperationalError if the line broke."""
        if not self.is_open:
            return []
        self.flush()
        try:
            found = self.read()
            self.pgconn.exit_pipeline_mode()
        except BaseException:
            connection.close()  # half-read answers would be taken for those of the next query
            raise
        finally:
            self.is_open = self.is_waiting = False
        return found

    def read(self) -> list[bool]:
        """Each statement answers with one result and a None, the transaction with its Sync."""
        found: list[bool] = []
        while True:
            result = self.pgconn.get_result()
            if result is None:
                self.look_alive()
            elif result.status == ExecStatus.PIPELINE_SYNC:
                return found
            else:
                found.append(checked(result).ntuples > 0)

    def look_alive(self) -> None:
        """None only parts one statement from the next, unless there is no connection any more."""
        if self.pgconn.status != ConnStatus.OK:
            raise OperationalError("The database went away.")


def checked(result: Any) -> Any:
    if result.status in FAILED:
        raise OperationalError((result.error_message or b"The database went away.").decode(errors="replace"))
    return result
