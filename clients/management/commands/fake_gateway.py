"""`manage.py fake_gateway`: a text message gateway on this machine that sends nothing, to try and
to test with."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from clients.messaging.channels.fake_gateway import FakeGateway, FakeGatewayServer, FaultShares

SHARES = {
    "refuse": "refused for good",
    "busy": "refused for now",
    "opted-out": "refused because the number asked to hear no more",
    "lose": "not taken, and no answer",
    "forget": "taken, and no answer",
    "stall": "taken, and answered late",
    "duplicate": "taken, and reported twice in the wrong order",
}


class Command(BaseCommand):
    requires_system_checks = []
    help = (
        "Take text messages on this machine instead of sending them. Shares are 0 to 1. Ends on"
        " Ctrl-C."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=2580)
        parser.add_argument("--log", type=Path, default=None, help="A line for each message taken")
        parser.add_argument(
            "--hooks", default="", help="Our address for its reports, without /status"
        )
        parser.add_argument("--hook-key", default="", help="Sign the reports with this key")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--stall-seconds", type=float, default=60.0)
        parser.add_argument(
            "--latest-seconds", type=float, default=0.0, help="Its slowest ordinary answer"
        )
        for name, words in SHARES.items():
            parser.add_argument(
                f"--{name}", type=float, default=0.0, help=f"Share of messages {words}"
            )

    def handle(self, *args: Any, **options: Any) -> None:
        names = [name.replace("-", "_") for name in SHARES] + ["stall_seconds", "latest_seconds"]
        fault_shares = FaultShares(**{name: options[name] for name in names})
        hooks = options["hooks"].rstrip("/")
        gateway = FakeGateway(
            fault_shares, options["log"], hooks, options["hook_key"], options["seed"]
        )
        server = FakeGatewayServer(options["port"], gateway)
        self.stdout.write(f"Taking text messages at http://127.0.0.1:{server.server_port}/messages")
        self.stdout.flush()
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            self.stdout.write("Done.")
        finally:
            server.server_close()
