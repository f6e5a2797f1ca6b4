"""`manage.py deliver`: hands the outbox over, once or as a loop;
any number of them may run, on any number of hosts."""

import logging
import signal
import threading
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import Error, connections

from clients.management.opening import BookCommand
from clients.messaging import outbox
from clients.models import Heartbeat
from clients.tables import add_format_option, write_rows

COLUMNS = ["accepted", "put_off", "failed", "unconfirmed", "cancelled", "line_down"]
IDLE_SECONDS = 2.0
TRANSPORT_DOWN_SECONDS = 30.0
MAX_RETRY_SECONDS = 30.0
logger = logging.getLogger(__name__)


class Command(BookCommand):
    requires_system_checks = []
    waits_for_database = True
    help = "Hand over what is due in the outbox. Without --once: for ever, until SIGTERM or Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--once", action="store_true", help="One pass over what is due now, then end"
        )
        parser.add_argument(
            "--deadline", type=float, default=None, help="Begin no message after so many seconds"
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        self.stopping = threading.Event()
        with self.stop_on_signals():
            if options["once"]:
                tally = outbox.deliver(
                    deadline_seconds=options["deadline"] or float("inf"), stop=self.stopping.is_set
                )
                write_rows(
                    [tally.row()], format=options["format"], out=self.stdout, columns=COLUMNS
                )
            else:
                self.loop(options)

    @contextmanager
    def stop_on_signals(self) -> Iterator[None]:
        """The message in hand is finished first;
        whatever was claimed beside it goes back to the queue."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        numbers = (signal.SIGTERM, signal.SIGINT)
        before = {
            number: signal.signal(number, lambda *_: self.stopping.set()) for number in numbers
        }
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def loop(self, options: dict[str, Any]) -> None:
        """A database that goes away is waited for: the outbox is all in there."""
        failures = 0
        while not self.stopping.is_set():
            try:
                wait = self.run_once(options)
                failures = 0
            except Error as error:
                connections.close_all()
                failures += 1
                wait = min(2.0**failures / 2, MAX_RETRY_SECONDS)
                logger.warning(
                    "The database does not answer (%s); next try in %.0f s",
                    str(error).strip(),
                    wait,
                )
            self.stopping.wait(wait)
        self.clear_heartbeat()

    def run_once(self, options: dict[str, Any]) -> float:
        """Seconds to wait before the next one."""
        tally = outbox.deliver(
            deadline_seconds=options["deadline"] or 45, stop=self.stopping.is_set
        )
        Heartbeat.objects.record("deliver")
        if tally.total:
            write_rows([tally.row()], format=options["format"], out=self.stdout, columns=COLUMNS)
        if tally.line_down:
            logger.warning("Nobody takes messages: %s", "; ".join(tally.line_down))
        return TRANSPORT_DOWN_SECONDS if tally.line_down else 0.0 if tally.total else IDLE_SECONDS

    def clear_heartbeat(self) -> None:
        try:
            Heartbeat.objects.filter(name="deliver").delete()
        except Error:
            connections.close_all()
