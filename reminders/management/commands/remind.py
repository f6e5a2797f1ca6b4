"""`manage.py remind 2027-03`: queue the words due until the end of a month, or say with `--dry-run`
which they are."""

from argparse import ArgumentParser
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from clients import display
from clients.management.opening import BookCommand
from clients.messaging.models import Message
from clients.models import Business
from clients.tables import add_format_option, write_rows
from reminders import actions
from reminders.due import due_list
from reminders.management.arguments import month_argument, require_business
from reminders.models import Reminder
from reminders.months import shift_months
from reminders.steps import (
    Draft,
    LeftOut,
    PlannedMessage,
    ReminderRequest,
    plan_reminders,
    write_drafts,
)

COLUMNS = [
    "outcome",
    "client",
    "client_id",
    "channel",
    "address",
    "step",
    "goes_at",
    "decks",
    "deck_ids",
    "subject",
    "parts",
    "kind",
    "why",
    "message_id",
]
CHUNK_SIZE = 1000


@dataclass(frozen=True)
class RemindArguments:
    """What was asked for on the command line."""

    business: Business
    now: datetime
    asked: ReminderRequest


class Command(BookCommand):
    help = (
        "Queue one message a client about all decks that are due for a reminder until the end of a"
        " month."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("month", help="Year and month, such as 2027-03.")
        parser.add_argument(
            "--only-this-month", action="store_true", help="Only decks that are due in it."
        )
        parser.add_argument(
            "--at-once", action="store_true", help="Do not wait for the day of each step."
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="Say what would be queued and write nothing."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = require_business()
        month = month_argument(options["month"])
        run = RemindArguments(
            business,
            timezone.now(),
            ReminderRequest(
                shift_months(month, 1),
                chosen_deck_ids(month, options),
                at_once=options["at_once"],
            ),
        )
        with display.override_business(business), timezone.override(business.zone):
            done = dry_run_rows if options["dry_run"] else queue_and_list_rows
            write_rows(done(run), format=options["format"], out=self.stdout, columns=COLUMNS)


def chosen_deck_ids(month: date, options: dict[str, Any]) -> list[int] | None:
    """Decks of the due list where the month or haste is asked for;
    else what the steps say of the whole book."""
    if not (options["only_this_month"] or options["at_once"]):
        return None
    return due_list.due_deck_ids(month, with_carried_over=not options["only_this_month"])


def dry_run_rows(run: RemindArguments) -> list[dict[str, Any]]:
    made = plan_reminders(run.asked, business=run.business, now=run.now)
    rows = []
    silent = list(made.left_out)
    for part in message_chunks(made.planned):
        drafts, unwritten = write_drafts(
            part, business=run.business, today=run.business.today(run.now)
        )
        rows += [draft_row(draft) for draft in drafts]
        silent += unwritten
    return rows + [left_out_row(each) for each in silent]


def message_chunks(planned: list[PlannedMessage]) -> Iterator[list[PlannedMessage]]:
    """So many at a time that their texts fit into memory, each queued in a transaction of its
    own."""
    return (planned[start : start + CHUNK_SIZE] for start in range(0, len(planned), CHUNK_SIZE))


def draft_row(draft: Draft) -> dict[str, Any]:
    row = draft.planned
    return {
        "outcome": "would be queued",
        "client": row.client,
        "client_id": row.client_id,
        "channel": row.route.channel,
        "address": row.route.address,
        "step": row.step.number,
        "goes_at": row.goes_at,
        "decks": [due_step.coat.label for due_step in row.due_steps],
        "deck_ids": [due_step.coat.deck_id for due_step in row.due_steps],
        "subject": draft.written.subject,
        "parts": draft.written.parts or None,
    }


def queue_and_list_rows(run: RemindArguments) -> list[dict[str, Any]]:
    ahead = plan_reminders(run.asked, business=run.business, now=run.now)
    rows = []
    silent = list(ahead.left_out)
    for part in message_chunks(ahead.planned):
        decks = [due_step.coat.deck_id for each in part for due_step in each.due_steps]
        result = actions.queue_reminders(
            asked=replace(run.asked, deck_ids=decks), by=None, now=run.now
        )
        rows += [
            message_row(message, reminders)
            for message, reminders in actions.messages_with_reminders(result.queued)
        ]
        silent += result.left_out
    return rows + [left_out_row(each) for each in silent]


def message_row(message: Message, reminders: list[Reminder]) -> dict[str, Any]:
    return {
        "outcome": "queued",
        "client": message.client.name,
        "client_id": message.client_id,
        "channel": message.channel,
        "address": message.address,
        "step": reminders[0].step,
        "goes_at": message.not_before,
        "decks": [reminder.deck.label for reminder in reminders],
        "deck_ids": [reminder.deck_id for reminder in reminders],
        "subject": message.subject,
        "message_id": message.pk,
    }


def left_out_row(each: LeftOut) -> dict[str, Any]:
    return {
        "outcome": "left out",
        "client": each.client,
        "client_id": each.client_id,
        "decks": [each.deck],
        "deck_ids": [each.deck_id],
        "kind": each.kind,
        "why": each.why,
        "message_id": each.message_id,
    }
