"""`manage.py demo`: the invented book in a database of its own, with a catcher for all its mail."""

import contextlib
import os
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connections
from django.utils import timezone

from clients.models import Business, Deck
from reminders.due import due_list
from reminders.models import Forecast
from reminders.months import month_of
from reminders.pacing import summary
from restorer.demo import book
from restorer.local import mail_catcher, processes, text_catcher
from restorer.management.commands import serve


class Command(serve.Command):
    help = (
        "Show the program with an invented book. Its mail and texts are caught on this machine and"
        " go nowhere."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--no-serve", action="store_true", help="Run one month's cycle here and end"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        refuse_real_book()
        catcher = mail_catcher.new_mail_catcher(processes.free_port(2525))
        catcher.start()
        send_all_mail_to(catcher.port)
        self.texts = text_catcher.start_text_catcher()
        self.cycle_only = options["no_serve"]
        with contextlib.suppress(OSError):  # serving says what is wrong with the port
            lead_links_to(options["bind"], processes.free_port(options["port"], options["bind"]))
        try:
            super().handle(*args, **options)
        finally:
            catcher.stop()
            self.texts.shutdown()
            self.texts.server_close()

    def prepare_book(self) -> None:
        super().prepare_book()
        if Business.current() is None:
            self.write_line("Writing the invented book")
            call_command("load_demo_book", stdout=self.stdout)
        elif not Forecast.objects.exists():  # the first start was broken off half-way
            call_command("refresh_forecasts", stdout=self.stdout)
        lead_messages_to(settings.BASE_URL)
        text_catcher.use_text_catcher(self.texts, "")

    def serve(self, host: str, wanted: int) -> None:
        if self.cycle_only:
            self.run_cycle()
        else:
            super().serve(host, wanted)

    def run_cycle(self) -> None:
        """The month's work once: due list → a price → reminders → handed over → whom to remind in
        which week."""
        today = Business.objects.get().today(timezone.now())
        month = f"{today:%Y-%m}"
        before = len(mail_catcher.caught_mail())
        self.write_line(f"\nDue in {month} and still open from earlier")
        call_command("due", month, stdout=self.stdout)
        for deck in due_list.due_deck_ids(month_of(today), with_carried_over=True)[-1:]:
            self.write_line("\nWhat the work on the last of them takes and costs")
            call_command("offer", str(deck), stdout=self.stdout)
        self.write_line(f"\nReminders for {month}")
        call_command("remind", month, stdout=self.stdout)
        self.write_line("\nHanding them to the mail catcher")
        call_command("deliver", once=True, stdout=self.stdout)
        self.write_line(
            "\nWhom to remind in which week, so that the answers fill the crews and no more"
        )
        first = summary.stored_horizon(Business.objects.get(), today=today).first
        call_command(
            "pace", "--from", f"{max(first, today):%Y-%m}", "--weeks", "12", stdout=self.stdout
        )
        count = len(mail_catcher.caught_mail()) - before
        self.write_line(
            f"{count} new messages in {mail_catcher.mail_dir()}. `manage.py demo` shows the same in"
            " the browser."
        )

    def welcome(self, address: str, host: str, port: int) -> None:
        processes.wait_for_port(serve.local_browser_host(host), port)
        text_catcher.use_text_catcher(
            self.texts, f"http://{processes.host_and_port(serve.local_browser_host(host), port)}"
        )
        decks = Deck.objects.count()
        connections.close_all()
        people = "\n".join(f"  {username:<8}{role}" for username, _, role in book.PEOPLE)
        self.write_line(
            f"\nThe invented book of Driftline Deck Care ({decks} decks) is open at"
            f" {address}\n\nSign in with the password {book.PASSWORD} as\n{people}\n\nTry\n"
            "  Today: what waits for you, and whom to remind; choose decks and read what goes out\n"
            "  Due list: which decks are due in a month, why, and offers for all of them\n"
            "  Offers: prices, now against waiting, and what the client sees\n"
            "  Diary: what is booked (next in May)\n"
            "  Clients: look up what went on a deck years ago; typing errors are forgiven\n"
            "  Log a job: on a phone, in under a minute\n\nAll mail is"
            f" caught in {mail_catcher.mail_dir()}\nAll text messages can be read at"
            f" http://127.0.0.1:{self.texts.server_port}/\nCtrl-C ends everything.\n"
        )


def refuse_real_book() -> None:
    """The demo sends reminders to a catcher;
    on a real book that would mark people as written to."""
    name = str(connections["default"].settings_dict["NAME"])
    if settings.MODE != "demo" or not name.endswith("_demo"):
        raise CommandError(
            f"The demo keeps to a database of its own, and {name!r} does not end in _demo. Unset"
            " DATABASE_URL."
        )


def lead_links_to(host: str, port: int) -> None:
    """What is written into the invented book before it is served leads to where it is served."""
    if "BASE_URL" not in os.environ:
        here = processes.host_and_port(serve.local_browser_host(host), port)
        settings.BASE_URL = f"http://{here}"


def lead_messages_to(address: str) -> None:
    """A book that was made while the demo was open at another port: what its messages lead to is
    here now."""
    elsewhere, here = r"http://[^/\s\"<>]+:[0-9]+/", f"{address.rstrip('/')}/"
    with connections["default"].cursor() as cursor:
        cursor.execute(
            "UPDATE clients_message SET text = regexp_replace(text, %s, %s, 'g'),"
            " html = regexp_replace(html, %s, %s, 'g') WHERE text ~ %s OR html ~ %s",
            [*(elsewhere, here) * 2, elsewhere, elsewhere],
        )


def send_all_mail_to(port: int) -> None:
    """Whatever the environment says: nothing of the demo may reach a real mail server."""
    mail = {
        "EMAIL_HOST": "127.0.0.1",
        "EMAIL_PORT": port,
        "EMAIL_HOST_USER": "",
        "EMAIL_HOST_PASSWORD": "",
    }
    for name, value in {**mail, "EMAIL_USE_TLS": False, "EMAIL_USE_SSL": False}.items():
        setattr(settings, name, value)
        os.environ[name] = str(value)
