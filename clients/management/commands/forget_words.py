"""`manage.py forget_words`: what the worker does each night with what came in long ago."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from clients.messaging.actions.retention import empty_raw_events
from clients.models import Business
from clients.tables import add_format_option, write_rows

COLUMNS = ["emptied", "months"]


class Command(BookCommand):
    help = (
        "Empty the words of hooks and returned mails older than the months set under Settings,"
        " Bounces and complaints."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = Business.current()
        if business is None:
            raise CommandError("There is no business yet.")
        row = {"emptied": empty_raw_events(now=timezone.now()), "months": business.raw_months}
        write_rows([row], format=options["format"], out=self.stdout, columns=COLUMNS)
