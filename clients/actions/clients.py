"""Actions on clients: taking them in, how to reach them, what they allowed, and putting them
away."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from clients.actions.saving import (
    SECOND_CLICK_WINDOW,
    holds_values,
    lock_row,
    save_if_changed,
)
from clients.events import clients_left
from clients.messaging import outbox, suppression
from clients.messaging.asking import customer_wording
from clients.messaging.customers import CUSTOMER, LikelyCustomer
from clients.messaging.law import AGREED_BASES
from clients.messaging.models import Consent, Message
from clients.models import Business, Client, ContactPoint, User, traits_of
from clients.notation import emails as addresses
from clients.notation import phones as numbers

ContactKind = ContactPoint.Kind


class ConsentError(ValueError):
    """A consent that nobody could prove later; the message says what is missing."""


@dataclass(frozen=True)
class ContactInput:
    """A way to reach a client as it was typed. `pk` is set for one that is in the book already."""

    kind: str
    value: str
    country: str
    label: str = ""
    is_preferred: bool = False
    pk: int | None = None

    def normalized(self) -> str:
        """What is compared; raises EmailError or PhoneError."""
        if self.kind == ContactKind.EMAIL:
            return addresses.parse_email_address(self.value).lower()
        return numbers.parse_phone(self.value, self.country).e164


@transaction.atomic
def register_client(
    *,
    name: str,
    emails: Sequence[str] = (),
    phones: Sequence[str] = (),
    by: User | None,
    now: datetime,
    region: str,
) -> Client:
    """A new client with e-mail addresses and numbers as typed in a country (`region`, two letters).

    The first of each kind is the one to use. Raises EmailError or PhoneError.
    """
    client = Client.objects.create(name=" ".join(name.split()), created_at=now)
    contacts = [ContactInput(ContactKind.EMAIL, text, region) for text in emails]
    for text in phones:
        is_mobile = numbers.parse_phone(text, region).is_mobile
        contacts.append(
            ContactInput(ContactKind.MOBILE if is_mobile else ContactKind.PHONE, text, region)
        )
    save_contact_points(client=client, contacts=contacts, by=by, now=now)
    return client


@transaction.atomic
def add_client(
    *, values: dict[str, Any], contacts: Iterable[ContactInput], by: User | None, now: datetime
) -> Client:
    """A new client with all that its form holds."""
    client = Client.objects.create(created_at=now, **values)
    save_contact_points(client=client, contacts=contacts, by=by, now=now)
    return client


@transaction.atomic
def change_client(
    *,
    client: Client,
    values: dict[str, Any],
    contacts: Iterable[ContactInput],
    removed: Iterable[int],
    by: User,
    now: datetime,
) -> Client:
    """Save the client as its form left it;
    what is queued to an address that was dropped is cancelled."""
    client = lock_row(client)
    save_if_changed(client, values)
    for point in client.contact_points.filter(pk__in=list(removed)):
        cancel_queued_messages(point=point, why="The address was removed.", by=by, now=now)
        point.delete()
    save_contact_points(client=client, contacts=contacts, by=by, now=now)
    return client


@transaction.atomic
def save_contact_points(
    *, client: Client, contacts: Iterable[ContactInput], by: User | None, now: datetime
) -> None:
    """Keep the ways to reach a client: a row that says the same stays, a changed one is changed,
    the rest is new."""
    there = {(point.kind, point.normalized): point for point in client.contact_points.all()}
    wanted = {(contact.kind, contact.normalized()): contact for contact in contacts}
    own = {contact.pk for contact in wanted.values()}
    free = {
        point.pk: point for key, point in there.items() if key not in wanted and point.pk in own
    }
    for key, contact in wanted.items():
        point = there.get(key) or reusable_point(contact, free) or ContactPoint(client=client)
        write_contact_point(point, contact, normalized=key[1], by=by, now=now)
    first = {contact.kind: key[1] for key, contact in wanted.items() if contact.is_preferred}
    for kind in ContactKind.values:
        set_preferred_contact(client, kind, first.get(kind))


def reusable_point(contact: ContactInput, free: dict[int, ContactPoint]) -> ContactPoint | None:
    """The row that was changed into this; its own, unless two rows were swapped about."""
    if contact.pk is None or not free:
        return None
    return free.pop(contact.pk if contact.pk in free else next(iter(free)))


def write_contact_point(
    point: ContactPoint, contact: ContactInput, *, normalized: str, by: User | None, now: datetime
) -> None:
    """Write one row. A new address has nothing to do with what was suspended or queued for the old
    one."""
    point.is_preferred = point.is_preferred and point.kind == contact.kind
    if point.pk and point.normalized != normalized:
        cancel_queued_messages(point=point, why="The address was changed.", by=by, now=now)
        point.suspended_at = None
        point.suspended_why = ""
    point.kind = contact.kind
    point.value = " ".join(contact.value.split())
    point.normalized = normalized
    point.label = contact.label
    point.save()


def set_preferred_contact(client: Client, kind: str, normalized: str | None) -> None:
    """The one to use: the one named, else the one in use, else the oldest.
    Rows that stay the same stay untouched."""
    points = list(client.contact_points.filter(kind=kind).order_by("id"))
    named = [point for point in points if point.normalized == normalized]
    chosen = next(iter([*named, *[point for point in points if point.is_preferred], *points]), None)
    for point in sorted(points, key=lambda each: each is chosen):  # at no moment two
        if point.is_preferred != (point is chosen):
            point.is_preferred = point is chosen
            point.save(update_fields=["is_preferred"])


@dataclass(frozen=True)
class ConsentInput:
    """A line for the log: by which channel the client allows messages, or withdraws (`is_given`
    False), on which basis (of `Consent.Basis`), in which words, shown by what, until when.

    `is_welcome_again`: the client, who had asked not to be written to, has asked for it again in so
    many words. `asked_by`, `asked_where` (of `Consent.AskedWhere`): who of us asked, and where.
    """

    channel: str
    is_given: bool
    basis: str
    wording: str
    evidence: str
    expires_on: date | None = None
    is_welcome_again: bool = False
    asked_by: str = ""
    asked_where: str = ""


@transaction.atomic
def record_consent(
    *, client: Client, entry: ConsentInput, by: User | None, now: datetime
) -> Consent:
    """Add a line to the log of what a client allowed.
    A withdrawal also cancels what is queued by that channel. A second click adds no second line."""
    channel = entry.channel
    values = consent_values(entry)
    require_proof(client, entry)
    there = last_consent_like(lock_row(client), values, by=by, now=now)
    if there and not entry.is_welcome_again:
        return there
    consent = Consent.objects.create(client=client, recorded_at=now, recorded_by=by, **values)
    if not entry.is_given:
        waiting = client.messages.filter(channel=channel).exclude(kind=Message.Kind.SERVICE)
        outbox.cancel_unsent(messages=waiting, why="The client withdrew consent.", by=by, now=now)
        clients_left.send(
            Client, client_ids=[client.pk], words="The client withdrew consent.", now=now
        )
    elif entry.is_welcome_again:
        lift_suppression(client, channel)
    return consent


def require_proof(client: Client, entry: ConsentInput) -> None:
    """Raises `ConsentError`. A look into a register undoes no word of the client."""
    is_looked_up = entry.basis == Consent.Basis.REGISTER
    if not entry.is_given:
        return
    if not entry.evidence.strip() or not (entry.wording.strip() or is_looked_up):
        raise ConsentError(
            "A consent needs the words the client agreed to and the evidence that shows it."
        )
    newest = Consent.objects.filter(client=client, channel=entry.channel).first()
    if is_looked_up and (why := why_no_look(newest)):
        raise ConsentError(why)


def why_no_look(newest: Consent | None) -> str:
    """Why a look into the register changes nothing after what the client said last; else empty."""
    if newest is None or newest.basis == Consent.Basis.REGISTER:
        return ""
    if not newest.is_given:
        return "They asked not to be called: a look into the register does not undo that."
    agreed = newest.basis in AGREED_BASES
    return "They agreed to calls: no look into the register is needed." if agreed else ""


def consent_values(entry: ConsentInput) -> dict[str, Any]:
    return {
        "channel": entry.channel,
        "is_given": entry.is_given,
        "basis": entry.basis,
        "wording": entry.wording.strip(),
        "evidence": entry.evidence.strip(),
        "asked_by": entry.asked_by.strip(),
        "asked_where": entry.asked_where,
        "expires_on": entry.expires_on if entry.is_given else None,
    }


def last_consent_like(
    client: Client, values: dict[str, Any], *, by: User | None, now: datetime
) -> Consent | None:
    """The newest line of that channel, if the same person has just written the very same."""
    newest = Consent.objects.filter(client=client, channel=values["channel"]).first()
    is_same = (
        newest is not None
        and newest.recorded_by == by
        and newest.recorded_at > now - SECOND_CLICK_WINDOW
        and holds_values(newest, values)
    )
    return newest if is_same else None


@transaction.atomic
def confirm_customers(
    *, customers: Iterable[LikelyCustomer], by: User, now: datetime
) -> list[Consent]:
    """Keep for many at once that they are customers, as somebody who knows them says.
    Until when it counts the law works out from their last job."""
    rows = [
        Consent(
            client_id=each.client_id,
            channel=each.channel,
            is_given=True,
            basis=CUSTOMER,
            wording=customer_wording(each.rule),
            evidence=customer_evidence(each, by),
            recorded_at=now,
            recorded_by=by,
        )
        for each in customers
    ]
    return Consent.objects.bulk_create(rows)


def customer_evidence(customer: LikelyCustomer, by: User) -> str:
    job = f"Last job {customer.last_job_on}."
    return f"{job} Confirmed by {by} with other customers ({customer.rule.code})."[:300]


def lift_suppression(client: Client, channel: str) -> None:
    business = Business.objects.get()
    for point in client.contact_points.filter(kind__in=traits_of(channel).contact_kinds):
        suppression.unsuppress_address(business=business, channel=channel, address=point.value)
        suppression.unsuppress_address(business=business, channel=channel, address=point.normalized)


@transaction.atomic
def archive_client(*, client: Client, by: User, now: datetime) -> None:
    """Put a client away: no longer listed or reminded, history kept.
    Doing it twice changes nothing."""
    client = lock_row(client)
    if client.archived_at:
        return
    save_if_changed(client, {"archived_at": now})
    outbox.cancel_unsent(
        messages=client.messages.all(), why="The client was archived.", by=by, now=now
    )
    clients_left.send(Client, client_ids=[client.pk], words="The client was archived.", now=now)


@transaction.atomic
def unarchive_client(*, client: Client, by: User, now: datetime) -> None:
    save_if_changed(lock_row(client), {"archived_at": None})


def cancel_queued_messages(
    *, point: ContactPoint, why: str, by: User | None, now: datetime
) -> None:
    waiting = point.client.messages.filter(
        Q(address__iexact=point.value) | Q(address__iexact=point.normalized)
    )
    outbox.cancel_unsent(messages=waiting, why=why, by=by, now=now)
