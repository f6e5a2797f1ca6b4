"""Statements sent to PostgreSQL ahead of their answer, so that it works while the mail server does.

Each is a transaction of its own (libpq's pipeline mode, one Sync each). Nothing irrevocable may happen before
`answers` has been read; see docs/decisions/0007.
"""

from collections.abc import Sequence
from typing import Any

from django.db import OperationalError, connection
from psycopg.pq import ExecStatus

FAILED = {ExecStatus.FATAL_ERROR, ExecStatus.PIPELINE_ABORTED, ExecStatus.BAD_RESPONSE}


class Ahead:
    """A line to the database that need not be waited for. No other query may run while answers are open."""

    def __init__(self) -> None:
        self.open = 0
        self.pgconn: Any = None

    def send(self, statement: str, values: Sequence[Any]) -> None:
        if not self.open:
            connection.ensure_connection()
            self.pgconn = connection.connection.pgconn
            self.pgconn.enter_pipeline_mode()
        self.pgconn.send_query_params(statement.encode(), [str(value).encode() for value in values])
        self.pgconn.pipeline_sync()
        self.pgconn.flush()
        self.open += 1

    def answers(self) -> list[bool]:
        """For each statement sent, whether it changed a row. Waits; raises OperationalError if the line broke."""
        if not self.open:
            return []
        try:
            found = [self.answer() for _ in range(self.open)]
            self.pgconn.exit_pipeline_mode()
        except BaseException:
            connection.close()  # half-read answers would be taken for those of the next query
            raise
        finally:
            self.open = 0
        return found

    def answer(self) -> bool:
        """Read up to the Sync of one statement."""
        rows = 0
        while True:
            result = self.pgconn.get_result()
            if result is None:
                self.look_alive()
            elif result.status == ExecStatus.PIPELINE_SYNC:
                return rows > 0
            elif result.status in FAILED:
                raise OperationalError((result.error_message or b"the database went away").decode(errors="replace"))
            else:
                rows += result.ntuples

    def look_alive(self) -> None:
        """None only parts one statement from the next, unless there is no connection any more."""
        if self.pgconn.status != 0:
            raise OperationalError("The database went away.")
