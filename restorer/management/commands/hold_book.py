"""`manage.py hold_book`: from now on this book sends nothing; `--end` lets it send again."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from clients.messaging import outbox
from clients.models import Business


class Command(BookCommand):
    help = (
        "Keep this book from sending anything: for a copy, or one recovered to an earlier hour."
        " --end: it is the only one and sends again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--end", action="store_true", help="It is the only one: send again")

    def handle(self, *args: Any, **options: Any) -> None:
        business = Business.current()
        if business is None:
            raise CommandError("There is no business yet, so nothing could be sent.")
        if options["end"]:
            self.release(business)
        else:
            is_new = outbox.hold_book(now=timezone.now())
            self.stdout.write(
                "The book sends nothing from now on." if is_new else "It was held already."
            )

    def release(self, business: Business) -> None:
        if not business.sends_nothing:
            self.stdout.write("The book was not held.")
            return
        count = outbox.release_book(by=None, now=timezone.now())
        self.stdout.write(
            f"The book sends again. {count} messages that waited in it stay held back, as they may"
            " have gone out before: release or cancel each in the outbox."
        )
