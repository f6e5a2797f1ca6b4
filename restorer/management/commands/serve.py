"""`manage.py serve`: the real book on one machine, with everything it needs beside it."""

import os
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connections
from django.utils import timezone

from clients.models import Business, Heartbeat
from restorer import metrics
from restorer.local import postgres, processes

WILDCARD_HOSTS = {"0.0.0.0", "::"}  # noqa: S104 only compared with
RELEASE_SECONDS = 3


class Command(BaseCommand):
    help = "Serve the book: web server, task worker and delivery loop. Ctrl-C ends them all."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--port", type=int, default=8000, help="If it is taken, the next free one (8000)"
        )
        parser.add_argument(
            "--bind",
            default="127.0.0.1",
            help="The address of this machine to listen on (127.0.0.1)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self.prepare_book()
            self.serve(options["bind"], options["port"])
        finally:
            self.release_database()

    def prepare_book(self) -> None:
        call_command("prepare", stdout=self.stdout)

    def serve(self, host: str, wanted: int) -> None:
        try:
            listener = processes.listen_at(host, wanted)
        except OSError as error:
            raise CommandError(str(error)) from error
        port = listener.getsockname()[1]
        if port != wanted:
            self.write_line(f"Port {wanted} is taken; this one takes {port}.")
        address = (
            os.environ.get("BASE_URL")
            or f"http://{processes.host_and_port(local_browser_host(host), port)}"
        )
        children = [
            *processes.web_processes(listener),
            processes.worker_process(),
            processes.deliverer_process(),
        ]
        connections.close_all()
        metrics.forget_request_times()
        supervisor = processes.Supervisor(
            children,
            environment={"BASE_URL": address},
            worker_age=worker_age,
            on_check=None if os.environ.get("DATABASE_URL") else postgres.start_server,
        )
        supervisor.run(ready=lambda: self.welcome(address, host, port))
        self.write_line("Everything has ended; nothing is lost.")

    def welcome(self, address: str, host: str, port: int) -> None:
        processes.wait_for_answer(local_browser_host(host), port)
        self.write_line(f"\nThe book is open at {address}\nCtrl-C ends it.")
        if Business.current() is None:
            self.write_line(
                "It is empty: the first visit makes the business and the owner's account."
            )
        if host in WILDCARD_HOSTS and not os.environ.get("ALLOWED_HOSTS"):
            self.write_line(
                "To open it from another device, set ALLOWED_HOSTS and BASE_URL to the name of this"
                " machine."
            )
        connections.close_all()

    def release_database(self) -> None:
        """Stop PostgreSQL if this process started it and nobody else uses it."""
        connections.close_all()
        if os.environ.get("RESTORER_OWNS_POSTGRES") != "1":
            return
        until = time.monotonic() + RELEASE_SECONDS
        while postgres.has_other_connections():
            if time.monotonic() > until:
                self.write_line("PostgreSQL goes on running: another program is using it.")
                return
            time.sleep(0.1)
        postgres.stop_server()

    def write_line(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def local_browser_host(host: str) -> str:
    """An address of this machine that a browser on it can open."""
    return "127.0.0.1" if host in WILDCARD_HOSTS else host


def worker_age() -> float | None:
    """Seconds since the task worker last showed that it works; None if it never did."""
    try:
        beat = Heartbeat.objects.filter(name="worker").first()
    finally:
        connections.close_all()
    return (timezone.now() - beat.beat_at).total_seconds() if beat else None
