"""The structure of a deck: what was found, who was told, and that it is repaired.

Stop and report: what is dangerous is put before the office at once.
"""

import re
import uuid
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.dispatch import receiver

from clients import display
from clients.actions.saving import lock_row, lock_until_commit
from clients.events import messages_taken_back
from clients.messaging import outbox, texts
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import Message, MessageText, ToDo
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route
from clients.messaging.texts import ComposedText
from clients.models import Business, Channel, Client, Deck, User
from jobs.actions.jobs import attach_photos, check_loggable, check_work_date
from jobs.models import Defect, Photo, StructureCheck
from jobs.offers import links
from jobs.photos import NormalizedPhoto
from jobs.work import report_notice


class ReportError(ValueError):
    """The report cannot be sent or acknowledged; the message says why and what to do."""


@dataclass(frozen=True)
class FoundDefect:
    """One defect as it was typed."""

    kind: str
    severity: str
    place: str
    words: str = ""
    photos: Sequence[NormalizedPhoto] = ()


@dataclass(frozen=True)
class StructureLook:
    """Who looked when, and what they found; None: nothing."""

    checked_on: date
    checked_by: str
    found: FoundDefect | None
    form_key: uuid.UUID | None = None


@transaction.atomic
def record_structure_check(
    *, deck: Deck, look: StructureLook, by: User | None, now: datetime, today: date
) -> StructureCheck:
    """Keep what was found. Defects of one day make one report, until the client has it.
    Raises `JobError`."""
    lock_until_commit(f"structure {deck.pk}")
    check_loggable(deck, look.checked_on, today)
    checks = StructureCheck.objects.filter(deck=deck, checked_on=look.checked_on)
    row = checks.filter(told_at=None, acknowledged_on=None).first()
    if row is None:
        row = StructureCheck.objects.create(
            deck=deck,
            checked_on=look.checked_on,
            checked_by=look.checked_by.strip(),
            recorded_by=by,
            created_at=now,
        )
    if look.found:
        keep_defect(row, look.found, look.form_key, now)
    return row


def keep_defect(
    check: StructureCheck, found: FoundDefect, form_key: uuid.UUID | None, now: datetime
) -> Defect:
    defect = Defect.objects.create(
        structure_check=check,
        kind=found.kind,
        severity=found.severity,
        place=found.place.strip(),
        words=found.words.strip(),
        form_key=form_key,
        created_at=now,
    )
    add_defect_photos(defect=defect, files=found.photos, now=now)
    if defect.is_dangerous:
        add_to_do(matter=dangerous_to_do(defect), now=now)
    return defect


def dangerous_to_do(defect: Defect) -> ToDo:
    deck = defect.structure_check.deck
    return ToDo(
        kind=ToDo.Kind.DEFECT,
        key=f"defect/{defect.pk}",
        client=deck.site.client,
        words=f"{deck}: {defect}. Tell the client, and keep people off.",
        url=f"/jobs/structure/{defect.structure_check_id}/",
    )


@transaction.atomic
def add_defect_photos(
    *, defect: Defect, files: Sequence[NormalizedPhoto], now: datetime
) -> list[Photo]:
    """Those that are new; a file that was sent before is left alone."""
    lock_until_commit(f"photos of defect {defect.pk}")
    check = defect.structure_check
    return attach_photos(
        defect,
        files,
        deck=check.deck,
        moment=Photo.Moment.FOUND,
        caption=str(defect)[:200],
        taken_on=check.checked_on,
        created_at=now,
    )


@transaction.atomic
def mark_defect_fixed(*, defect: Defect, fixed_on: date, words: str, today: date) -> Defect:
    """It is repaired; marked again it says the newer day. Raises `JobError`."""
    row = lock_row(defect)
    check_work_date(fixed_on, today, "fixed_on")
    row.fixed_on = fixed_on
    row.fixed_words = words.strip()[:300]
    row.save(update_fields=["fixed_on", "fixed_words"])
    return row


# --- the client gets it


def report_routes(check: StructureCheck, *, today: date) -> list[Route]:
    """The ways that are possible, the client's own first. It is about work and safety, so it needs
    no consent; an address that refuses all mail gets none."""
    client = check.deck.site.client
    contacts = Reach.of(client)
    own = [Channel(client.preferred_channel)] if client.preferred_channel else []
    asked = (
        contacts.route(client.pk, channel, ContactPurpose.SERVICE, on=today)
        for channel in dict.fromkeys([*own, *Channel])
        if channel not in contacts.transports_down
    )
    return [route for route in asked if not isinstance(route, Refusal)]


def compose_report(check: StructureCheck, route: Route) -> ComposedText:
    client = check.deck.site.client
    with display.in_client_language(client.language):
        fields = {
            "greeting": client.greeting,
            "decks": str(check.deck),
            "notice": report_notice(check),
            "report_url": links.report_url(check, route.channel),
        }
    return texts.compose_text(
        purpose=MessageText.Purpose.DEFECTS,
        channel=route.channel,
        language=client.language,
        fields=fields,
    )


@transaction.atomic
def send_defect_report(
    *, check: StructureCheck, channel: str, by: User | None, now: datetime
) -> Message:
    """Queue the report, once a way. Raises `ReportError`, `Unsendable`."""
    row = StructureCheck.objects.select_for_update(of=("self",)).get(pk=check.pk)
    if not row.defects.exists():
        raise ReportError("Nothing was found, so there is no report to send.")
    routes = report_routes(row, today=Business.objects.get().today(now))
    route = next((each for each in routes if each.channel == channel), None)
    if route is None:
        raise ReportError("This way is not possible any more. Choose another, or print it.")
    outgoing = outbox.OutgoingMessage(
        client=client_of(row),
        kind=Message.Kind.SERVICE,
        channel=route.channel,
        address=route.address,
        basis=route.permission.basis,
        key=f"structure/{row.pk}/{route.channel}",
        written=compose_report(row, route),
        sending=outbox.open_sending(by=by, now=now),
    )
    message, _ = outbox.queue_message(outgoing=outgoing, now=now, by=by)
    StructureCheck.objects.filter(pk=row.pk, told_at=None).update(told_at=now)
    return message


@receiver(messages_taken_back)
def forget_reports_taken_back(
    *, messages: Sequence[Message], **_signal: object
) -> Callable[[Collection[int]], None]:
    """A report whose message was stopped before it left was not told by it."""
    found = {each.pk: int(told[1]) for each in messages if (told := told_of_report(each))}
    list(StructureCheck.objects.select_for_update().filter(pk__in=found.values()).order_by("pk"))

    def undo(stopped: Collection[int]) -> None:
        for pk in {found[each] for each in stopped if each in found}:
            sent = Message.objects.filter(idempotency_key__startswith=f"structure/{pk}/")
            first = sent.exclude(state="cancelled").order_by("queued_at").first()
            StructureCheck.objects.filter(pk=pk).update(told_at=first.queued_at if first else None)

    return undo


def told_of_report(message: Message) -> re.Match[str] | None:
    """Its key names the report."""
    return re.match(r"structure/([0-9]+)/", message.idempotency_key)


def client_of(check: StructureCheck) -> Client:
    return check.deck.site.client


@transaction.atomic
def acknowledge_report(
    *, check: StructureCheck, name: str, day: date, by: User | None, now: datetime
) -> StructureCheck:
    """The client has read it; once. By nobody of ours it is put before the office."""
    row = StructureCheck.objects.select_for_update(of=("self",)).get(pk=check.pk)
    if row.is_acknowledged:
        return row
    row.acknowledged_by = name.strip()[:200]
    row.acknowledged_on = day
    row.save(update_fields=["acknowledged_by", "acknowledged_on"])
    if by is None:
        add_to_do(matter=acknowledged_to_do(row), now=now)
    return row


def acknowledged_to_do(check: StructureCheck) -> ToDo:
    return ToDo(
        kind=ToDo.Kind.ANSWER,
        key=f"structure/{check.pk}/read",
        client=client_of(check),
        words=f"{check.acknowledged_by} has read what we found on {check.deck}.",
        url=f"/jobs/structure/{check.pk}/",
    )
