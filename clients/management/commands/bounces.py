"""`manage.py bounces`: reads mails that came back, from files, the standard input or the mailbox
for bounces."""

import mailbox
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from clients.messaging import incoming
from clients.tables import add_format_option, write_rows

COLUMNS = ["source", "report", "status", "key", "words"]
MBOX_PREFIX = b"From "


class Command(BookCommand):
    help = (
        "Read mails that came back from FILE (one mail, or an mbox; - is the standard input), or"
        " the mailbox."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="*", metavar="FILE")
        parser.add_argument(
            "--imap", action="store_true", help="Read the mailbox named in the settings BOUNCES_…"
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        if bool(options["files"]) == options["imap"]:
            raise CommandError("Name one or more files, or give --imap.")
        self.rows: list[dict[str, str]] = []
        problem: CommandError | None = None
        try:
            self.read_mailbox() if options["imap"] else self.read_files(options["files"])
        except CommandError as error:
            problem = error
        if self.rows or not problem:  # what was taken before something went wrong is told too
            write_rows(self.rows, format=options["format"], out=self.stdout, columns=COLUMNS)
        if problem:
            raise problem

    def receive_mail(self, source: str, content: bytes) -> None:
        self.rows.append(
            {"source": source} | incoming.receive_returned_mail(content=content, now=timezone.now())
        )

    def read_mailbox(self) -> None:
        if not incoming.has_bounce_mailbox():
            raise CommandError("No mailbox is set: see BOUNCES_HOST in docs/server.md.")
        try:
            incoming.fetch_unseen_mails(
                lambda content: self.receive_mail("imap", content), deadline_seconds=float("inf")
            )
        except incoming.MailboxError as error:
            raise CommandError(str(error)) from error

    def read_files(self, names: list[str]) -> None:
        for name in names:
            try:
                contents = list(read_mails(name))
            except OSError as error:
                raise CommandError(f"{name}: {error.strerror or error}") from error
            for content in contents:
                self.receive_mail("standard input" if name == "-" else name, content)


def read_mails(name: str) -> Iterator[bytes]:
    """One mail, or those of an mbox file (RFC 4155)."""
    if name == "-":
        yield sys.stdin.buffer.read()
        return
    content = Path(name).read_bytes()
    if not content.startswith(MBOX_PREFIX):
        yield content
        return
    box = mailbox.mbox(name, create=False)
    yield from (box.get_bytes(key) for key in box.iterkeys())
    box.close()
