"""Run in a checkout of the release before: makes its tables and a book of so many invented decks.
Arguments: decks."""

import sys
from datetime import date

import django
from django.core.management import call_command

django.setup()
call_command("migrate", verbosity=0, interactive=False)
call_command("createcachetable", verbosity=0)
call_command("collectstatic", interactive=False, verbosity=0)

from restorer.bench import book  # type: ignore[import-not-found]  # noqa: E402 - of that release

book.make(int(sys.argv[1]), date.today())
