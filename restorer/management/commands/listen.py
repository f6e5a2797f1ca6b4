"""`manage.py listen`: the web processes for a service manager."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.db import connections

from clients.management.opening import BookCommand
from restorer.local import processes


class Command(BookCommand):
    waits_for_database = True
    help = (
        "Answer browsers: two web processes on one address, restarted when they die. SIGTERM ends"
        " them after the requests in hand."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="The port (8000)")
        parser.add_argument(
            "--bind", default="127.0.0.1", help="The address to listen on (127.0.0.1)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        connections.close_all()
        try:
            listener = processes.listen_on(options["bind"], options["port"])
        except OSError as error:
            raise CommandError(f"Port {options['port']} is taken: {error}") from error
        processes.Supervisor(processes.web_processes(listener)).run()
