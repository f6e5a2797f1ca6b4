"""`manage.py load_demo_book`: the invented book, into an empty database."""

from typing import Any

from auditlog.context import disable_auditlog
from django.core.management.base import CommandError
from django.db import connection
from django.utils import timezone

from clients.management.opening import BookCommand
from clients.models import Business, Deck
from jobs.models import Job, Offer
from reminders import actions
from reminders.forecasting import refitting
from restorer.demo import book, offers


class Command(BookCommand):
    help = "Write the invented demo book into an empty database."

    def handle(self, *args: Any, **options: Any) -> None:
        if Business.current() is not None:
            raise CommandError("This database already holds a book. Nothing was changed.")
        now = timezone.now()
        with disable_auditlog():
            book.write_demo_book(today=timezone.localdate(now), now=now)
        business = Business.objects.get()
        refitting.refit(today=business.today(now), now=now)
        actions.refresh_forecasts(deck_ids=None, today=business.today(now), now=now)
        with disable_auditlog():
            offers.write_demo_offers(now=now)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")  # until it is said, the planner takes all tables for empty
        told = (
            f"{Deck.objects.count()} decks, {Job.objects.count()} jobs, {Offer.objects.count()}"
            " offers"
        )
        self.stdout.write(f"The invented book: {told}.")
