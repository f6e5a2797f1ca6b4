"""`manage.py remind 2027-03`: queue the reminders of a month, or say with `--dry-run` what would be queued."""

from argparse import ArgumentParser
from datetime import date, datetime
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from clients import display
from clients.models import Business
from clients.rows import add_format, write_rows
from reminders import actions, drafts, due
from reminders.management.month import business_in_force, month_argument

COLUMNS = ["outcome", "client", "client_id", "address", "decks", "deck_ids", "subject", "why", "message_id"]


class Command(BaseCommand):
    help = "Queue one reminder a client for the decks due in a month and those that became due earlier."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("month", help="Year and month, such as 2027-03.")
        parser.add_argument("--only-this-month", action="store_true", help="Leave out what became due earlier.")
        parser.add_argument("--dry-run", action="store_true", help="Say what would be queued and write nothing.")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business, month = business_in_force(), month_argument(options["month"])
        now = timezone.now()
        deck_ids = due.deck_ids(month, with_carried_over=not options["only_this_month"])
        with display.written_for(business), timezone.override(business.zone):
            done = planned if options["dry_run"] else queued
            write_rows(done(deck_ids, month, business, now), format=options["format"], out=self.stdout, columns=COLUMNS)


def planned(deck_ids: list[int], month: date, business: Business, now: datetime) -> list[dict[str, Any]]:
    plan = drafts.plan(deck_ids=deck_ids, month=month, business=business, today=business.today(now))
    rows = [
        {
            "outcome": "would be queued",
            "client": draft.client.name,
            "client_id": draft.client.pk,
            "address": draft.allowed.address,
            "decks": [each.deck.label for each in draft.decks],
            "deck_ids": [each.deck.pk for each in draft.decks],
            "subject": draft.subject,
        }
        for draft in plan.drafts
    ]
    return rows + [left_out(deck, why) for deck, why in plan.left_out]


def queued(deck_ids: list[int], month: date, business: Business, now: datetime) -> list[dict[str, Any]]:
    result = actions.remind(deck_ids=deck_ids, month=month, by=None, now=now)
    rows = [
        {
            "outcome": "queued",
            "client": message.client.name,
            "client_id": message.client_id,
            "address": message.address,
            "decks": [reminder.deck.label for reminder in reminders],
            "deck_ids": [reminder.deck_id for reminder in reminders],
            "subject": message.subject,
            "message_id": message.pk,
        }
        for message, reminders in actions.with_reminders(result.queued)
    ]
    return rows + [left_out(deck, why) for deck, why in result.left_out]


def left_out(deck: Any, why: str) -> dict[str, Any]:
    client = deck.property.client
    return {
        "outcome": "left out",
        "client": client.name,
        "client_id": client.pk,
        "decks": [deck.label],
        "deck_ids": [deck.pk],
        "why": why,
    }
