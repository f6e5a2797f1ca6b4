"""Erase a person for good while what was done on the deck stays (docs/decisions/0039).

What is theirs alone goes: ways to reach them, consents, words of messages, what came in, notes.
Everywhere else their name, numbers, addresses and street are taken out of the text, by a walk over
all text columns of all tables that Django knows, so that a table that is added later is walked too.
A keyed hash of each address stays, so that they are never written to again.
"""

import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import partial, reduce
from operator import or_
from typing import Any

from auditlog.context import disable_auditlog
from auditlog.models import LogEntry
from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.contrib.postgres.fields import ArrayField
from django.db import connection, models, transaction
from django.db.models import Q, TextField
from django.db.models.functions import Cast

from clients.actions.saving import lock_row
from clients.doubles import name_key
from clients.events import clients_erased, clients_left
from clients.messaging import outbox, suppression
from clients.messaging.models import (
    Attachment,
    CallNote,
    Consent,
    InboundEvent,
    Message,
    ToDo,
)
from clients.models import (
    Business,
    Channel,
    Client,
    ClientMerge,
    ContactPoint,
    Deck,
    Erasure,
    FormerOwner,
    Property,
    ToldApart,
    User,
    traits_of,
)
from jobs.actions.placement import OPEN_BOOKING_STATES
from jobs.models import Booking, Document, GradeExample, ImportRow, Photo
from jobs.photos import delete_photo_files

GONE = "[erased]"
NO_STREET = "Street erased"
KEPT_DEGREES = 2  # decimals: about a kilometre, enough for the sun and rain of the forecast
SHORTEST_WORD = 4  # of a name: shorter ones are words of any text
SHORTEST_NAME = 5  # looked for in the whole book
MAX_DEPTH = 5  # keys from a row to its client
# Facts about others, or keys of the program: no text about a person stands in them.
NEVER_WALKED = {
    *("clients.business", "clients.user", "clients.place", "clients.suppression"),
    *("clients.erasure", "contenttypes.contenttype", "auth.permission", "sessions.session"),
    *("jobs.searchentry", "jobs.searchword", "clients.lawrule", "clients.heartbeat"),
}
# Who others are: of two clients with one name or number the other one keeps theirs.
OTHERS_IDENTITY = {
    "clients.client": {"name", "salutation"},
    "clients.contactpoint": {"value", "normalized"},
    "clients.message": {"address"},
    "clients.property": {"street", "town"},
}
WORDS_OF_CREWS = {"crew", "found_by"}  # of a job and a visit: the crew may be called like a client


class ErasureError(ValueError):
    """Somebody who cannot be erased yet; the message says what to do first."""


@dataclass(frozen=True)
class PersonalWords:
    """What names a person: `everywhere` is looked for in the whole book, `nearby` (words of the
    name, the street) only in rows about them."""

    everywhere: re.Pattern[str]
    nearby: re.Pattern[str]
    plain: Sequence[str]

    def without(self, text: str, *, is_near: bool) -> str:
        """A text that names them for sure is about them."""
        if is_near or self.everywhere.search(text):
            return self.nearby.sub(GONE, text)
        return text


@transaction.atomic
def erase_client(*, client: Client, by: User, now: datetime) -> Erasure:
    """Take a person out of the book; the same one a second time only finds the proof.
    Raises `ErasureError`."""
    client = lock_row(client)
    if there := Erasure.objects.filter(client_number=client.pk).first():
        return there
    if not by.may_manage:
        raise ErasureError("Only the owner may erase a person.")
    refuse_unfinished(client)
    people = [
        client,
        *(merge.away for merge in ClientMerge.objects.filter(kept=client, undone_at=None)),
    ]
    words = personal_words(people)
    stop_writing(people, by=by, now=now)
    counts: Counter[str] = Counter()
    with disable_auditlog(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL restorer.erasing = 'on'")
        near = rows_near(people)
        forget_own_rows(people, words, counts)
        forget_trail(near, words, counts)
        for person in people:
            forget_identity(person, now, counts)
        redact_book(near, words, counts)
        forget_search_words(words)
    return Erasure.objects.create(client_number=client.pk, at=now, by=by, counts=dict(counts))


def refuse_unfinished(client: Client) -> None:
    """A visit to come is settled first; one of two entries that were merged goes with the other."""
    if merge := ClientMerge.objects.filter(away=client, undone_at=None).first():
        raise ErasureError(f"This entry was merged into {merge.kept}. Erase that one.")
    rows = Booking.objects.filter(client=client, state__in=OPEN_BOOKING_STATES)
    if booked := rows.order_by("first_on").first():
        raise ErasureError(
            f"A visit is booked for {booked.first_on:%Y-%m-%d}. Cancel it or log the job first."
        )


def stop_writing(people: Sequence[Client], *, by: User, now: datetime) -> None:
    """Nothing that waits goes out, offers end, and no address is ever written to again."""
    business = Business.objects.get()
    for person in people:
        waiting = person.messages.all()
        outbox.cancel_unsent(messages=waiting, why="The client was erased.", by=by, now=now)
        for channel in Channel.values:
            for address in addresses_for(person, channel):
                suppression.suppress_address(
                    business=business, channel=channel, address=address, reason="Erased"
                )
    ids = [person.pk for person in people]
    clients_left.send(Client, client_ids=ids, words="The client was erased.", now=now)


def addresses_for(person: Client, channel: str) -> Iterator[str]:
    kinds = traits_of(channel).contact_kinds
    for point in person.contact_points.filter(kind__in=kinds):
        yield from {point.value, point.normalized}
    if traits_of(channel).is_by_post and person.own_postal_address:
        yield person.own_postal_address


# --- what names them


def personal_words(people: Sequence[Client]) -> PersonalWords:
    """Of today and of the trail: a number that was changed last year is theirs as well."""
    ids = [person.pk for person in people]
    names = {person.name for person in people} | {person.spoken_name for person in people}
    names |= {person.salutation for person in people}
    names |= old_values("client", ids, ("name", "salutation"))
    points = set(ContactPoint.objects.filter(client__in=ids).values_list("value", "normalized"))
    reaches = {text for pair in points for text in pair}
    reaches |= old_values("contactpoint", contact_keys(ids), ("value", "normalized"))
    own = Property.objects.filter(client__in=ids)
    streets = set(own.values_list("street", flat=True)) | {p.postal_street for p in people}
    streets |= old_values("client", ids, ("postal_street",))
    streets |= old_values("property", list(own.values_list("pk", flat=True)), ("street",))
    return pattern_of(names, reaches, streets, ids)


def pattern_of(
    names: Collection[str], reaches: Collection[str], streets: Collection[str], ids: list[int]
) -> PersonalWords:
    whole = {name for name in names if len(name) >= SHORTEST_NAME}
    whole |= {name_key(name) for name in whole}
    parts = {word for name in names for word in re.findall(r"\w+", name)}
    parts = {word for word in parts if len(word) >= SHORTEST_WORD} | set(names)
    emails = {text for text in reaches if "@" in text}
    numbers = [number_pattern(text) for text in reaches if "@" not in text]
    shared = others_streets(streets, ids)
    wide = [*map(text_pattern, whole | emails), *filter(None, numbers)]
    wide += map(text_pattern, {street for street in streets if street and street not in shared})
    near = [*wide, *map(text_pattern, parts | set(streets))]
    plain = sorted(filter(None, {*names, *reaches, *streets}))
    return PersonalWords(any_of(wide), any_of(near), plain)


def others_streets(streets: Collection[str], ids: list[int]) -> set[str]:
    """Streets at which somebody else has a property: these stay in what is about nobody."""
    rows = Property.objects.filter(street__in=streets).exclude(client__in=ids)
    return set(rows.values_list("street", flat=True))


def any_of(patterns: Collection[str]) -> re.Pattern[str]:
    longest_first = sorted(filter(None, set(patterns)), key=lambda text: (-len(text), text))
    return re.compile("|".join(longest_first) or r"(?!)", re.IGNORECASE)


def text_pattern(text: str) -> str:
    words = r"\s+".join(map(re.escape, text.split()))
    return rf"(?<!\w){words}(?!\w)" if words else ""


def number_pattern(text: str) -> str:
    """The digits with whatever people write between them; a country's own way leaves out its
    code."""
    digits = re.sub(r"\D", "", text.partition(";")[0])
    if len(digits) < 7:
        return ""
    tail = digits[-10:]
    return r"(?<!\d)(?:\+?\d{0,3}[\s().\-]*)?" + r"[\s().\-]*".join(tail) + r"(?!\d)"


def contact_keys(ids: Sequence[int]) -> list[int]:
    """Also of contact points that are deleted: the trail says whose they were."""
    mine = Q()
    for pk in ids:
        mine |= Q(changes__client__contains=[str(pk)])
    kind = ContentType.objects.get_for_model(ContactPoint)
    rows = LogEntry.objects.filter(mine, content_type=kind)
    gone = {int(key) for key in rows.values_list("object_id", flat=True) if key is not None}
    return sorted(
        gone | set(ContactPoint.objects.filter(client__in=ids).values_list("pk", flat=True))
    )


def old_values(model: str, keys: Collection[int], names: Sequence[str]) -> set[str]:
    kind = ContentType.objects.get(app_label="clients", model=model)
    found: set[str] = set()
    entries = LogEntry.objects.filter(content_type=kind, object_id__in=list(keys))
    for changes in entries.values_list("changes", flat=True):
        for name in names:
            values = (changes or {}).get(name, [])
            found |= {value for value in values if isinstance(value, str) and value != "None"}
    return found - {""}


# --- where it stands


def paths_to_client() -> dict[type[models.Model], list[str]]:
    """Each kind of row that belongs to a client, with the ways along its keys."""
    found: dict[type[models.Model], list[str]] = {Client: ["pk"]}
    for _ in range(MAX_DEPTH):
        for model in apps.get_models():
            if not model._meta.managed or model is Client:
                continue
            ways = [
                way.removesuffix("__pk")
                for field in model._meta.get_fields()
                if isinstance(field, models.ForeignKey)
                and field.related_model in found
                and field.related_model is not model
                for way in (f"{field.name}__{found[field.related_model][0]}",)
            ]
            if ways:
                found[model] = ways
    return found


def rows_near(people: Sequence[Client]) -> dict[type[models.Model], list[Any]]:
    """The keys of all rows about them, and of the decks they had before."""
    ids = [person.pk for person in people]
    near: dict[type[models.Model], list[Any]] = {}
    for model, ways in paths_to_client().items():
        if model._meta.label_lower in NEVER_WALKED:
            continue
        ways = [*ways, *(former_way(way) for way in ways if "site__client" in way)]
        asked = reduce(or_, (Q(**{f"{way}__in": ids}) for way in ways))
        rows = model._base_manager.filter(asked).order_by().values_list("pk", flat=True)
        near[model] = list(rows.distinct())
    return near


def former_way(way: str) -> str:
    return way.replace("site__client", "site__former_owners__client")


def text_columns(model: type[models.Model]) -> list[Any]:
    """Fields in which words can stand: not those of a choice, a key or a hash."""
    kinds = (models.CharField, models.TextField, models.JSONField, ArrayField)
    return [
        field
        for field in model._meta.concrete_fields
        if isinstance(field, kinds)
        and not (is_of_choices(field) or field.primary_key or field.name.endswith("hash"))
    ]


def is_of_choices(field: Any) -> bool:
    return bool(field.choices or getattr(getattr(field, "base_field", None), "choices", None))


# --- taking it out


def forget_own_rows(people: Sequence[Client], words: PersonalWords, counts: Counter[str]) -> None:
    """What is about nobody else."""
    ids = [person.pk for person in people]
    messages = Message.objects.filter(client__in=ids)
    count(counts, Attachment, Attachment.objects.filter(message__in=messages).delete()[0])
    for model in (Consent, ContactPoint):
        rows = model._base_manager.filter(client__in=ids)
        count(counts, model, rows.count())
        rows.delete()
    forget_papers(ids, counts)
    ToldApart.objects.filter(Q(one__in=ids) | Q(other__in=ids)).delete()
    ClientMerge.objects.filter(kept__in=ids).delete()
    blanks: list[tuple[Any, dict[str, Any]]] = [
        (messages, {"address": GONE, "subject": "", "text": GONE, "html": "", "reply": ""}),
        (InboundEvent.objects.filter(inbound_of(ids)), {"raw": "", "outcome": GONE}),
        (ToDo.objects.filter(client__in=ids), {"words": GONE}),
        (CallNote.objects.filter(message__in=messages), {"note": ""}),
        (ImportRow.objects.filter(client__in=ids), {"cells": [], "before": [], "remarks": ""}),
    ]
    for rows, values in blanks:
        count(counts, rows.model, rows.update(**values))
    clients_erased.send(Client, client_ids=ids, named_by=words.nearby)


def of_their_decks(ids: list[int]) -> Q:
    """Photographs and documents of their decks; of one that they sold, those of their time."""
    asked = Q(deck__site__client__in=ids)
    for sold in FormerOwner.objects.filter(client__in=ids).select_related("site"):
        next_day = datetime.combine(sold.until + timedelta(days=1), time(), sold.site.zone)
        asked |= Q(deck__site=sold.site_id, created_at__lt=next_day)
    return asked


def papers_of(ids: list[int]) -> list[models.QuerySet[Any]]:
    """Documents, which nobody can read for names, and photographs in which somebody can be
    recognised."""
    asked = of_their_decks(ids)
    return [
        Document.objects.filter(asked),
        Photo.objects.filter(asked, shows_people=True),
    ]


def forget_papers(ids: list[int], counts: Counter[str]) -> None:
    """A photograph that stays shows no grade to everybody any more."""
    GradeExample.objects.filter(photo__in=Photo.objects.filter(of_their_decks(ids))).delete()
    for rows in papers_of(ids):
        files = (row.file if isinstance(row, Document) else row.image for row in rows)
        names = [file.name or "" for file in files]
        count(counts, rows.model, rows.count())
        rows.delete()
        transaction.on_commit(partial(delete_photo_files, names))


def inbound_of(ids: list[int]) -> Q:
    return Q(client__in=ids) | Q(message__client__in=ids)


def forget_identity(person: Client, now: datetime, counts: Counter[str]) -> None:
    blank = {"salutation": "", "notes": "", "archived_at": person.archived_at or now}
    postal = ("street", "town", "region", "postcode", "country")
    blank |= {f"postal_{part}": "" for part in postal}
    count(
        counts,
        Client,
        Client.objects.filter(pk=person.pk).update(name=f"Erased client {person.pk}", **blank),
    )
    for home in Property.objects.filter(client=person):
        place = {
            "latitude": round(home.latitude, KEPT_DEGREES),
            "longitude": round(home.longitude, KEPT_DEGREES),
        }
        rows = Property.objects.filter(pk=home.pk)
        changed = rows.update(street=NO_STREET, postcode="", access_notes="", **place)
        count(counts, Property, changed)


def forget_trail(
    near: dict[type[models.Model], list[Any]], words: PersonalWords, counts: Counter[str]
) -> None:
    """Entries about the person, their numbers and places lose what they say; others what names
    the person."""
    keys = {Client: near[Client], Property: near[Property]}
    keys[ContactPoint] = [*near[ContactPoint], *contact_keys(near[Client])]
    for model, own in keys.items():
        kind = ContentType.objects.get_for_model(model)
        rows = LogEntry.objects.filter(content_type=kind, object_id__in=own)
        changed = rows.update(
            object_repr=GONE,
            changes={},
            changes_text="",
            serialized_data=None,
            additional_data=None,
        )
        count(counts, LogEntry, changed)
    for model, others in near.items():
        if model in keys:
            continue
        kind = ContentType.objects.get_for_model(model)
        entries = LogEntry.objects.filter(content_type=kind, object_pk__in=list(map(str, others)))
        count(counts, LogEntry, redact_rows(entries, text_columns(LogEntry), words, is_near=True))


def redact_book(
    near: dict[type[models.Model], list[Any]], words: PersonalWords, counts: Counter[str]
) -> None:
    """All text columns of all tables: rows about them closely, all others for what is theirs for
    sure."""
    for model in apps.get_models(include_auto_created=True):
        label = model._meta.label_lower
        columns = text_columns(model)
        if not model._meta.managed or label in NEVER_WALKED or not columns:
            continue
        done = 0
        if keys := near.get(model):
            own = model._base_manager.filter(pk__in=keys)
            done += redact_rows(own, columns, words, is_near=True)
        theirs = OTHERS_IDENTITY.get(label, set())
        columns = [field for field in columns if field.name not in theirs]
        done += redact_rows(suspect_rows(model, columns, words), columns, words, is_near=False)
        count(counts, model, done)


def suspect_rows(
    model: type[models.Model], columns: Sequence[Any], words: PersonalWords
) -> models.QuerySet[Any]:
    """Those in which the database finds one of the words at all."""
    if not columns:
        return model._base_manager.none()
    pattern = sql_pattern(words.everywhere.pattern)
    asked = reduce(or_, (Q(**{f"in_{field.name}__iregex": pattern}) for field in columns))
    as_text = {f"in_{field.name}": Cast(field.name, TextField()) for field in columns}
    found: models.QuerySet[Any] = model._base_manager.annotate(**as_text).filter(asked)
    return found


def sql_pattern(pattern: str) -> str:
    """The same for PostgreSQL, which has no look-behind; what it finds too much is looked at
    again."""
    return re.sub(r"\(\?<!\\[wd]\)|\(\?!\\[wd]\)", "", pattern).replace("(?!)", "$^")


def redact_rows(
    rows: models.QuerySet[Any], columns: Sequence[Any], words: PersonalWords, *, is_near: bool
) -> int:
    """How many rows had to be changed."""
    done = 0
    names = [field.name for field in columns]
    for row in rows.order_by().values("pk", *names).iterator(chunk_size=500):
        changed = {}
        for name in names:
            closely = is_near and name not in WORDS_OF_CREWS
            text = redacted(row[name], words, closely)
            if text != row[name]:
                changed[name] = fitting(rows.model, name, text)
        if changed:
            rows.model._base_manager.filter(pk=row["pk"]).update(**changed)
            done += 1
    return done


def fitting(model: type[models.Model], name: str, value: Any) -> Any:
    most = getattr(model._meta.get_field(name), "max_length", None)
    return value[:most] if most and isinstance(value, str) else value


def redacted(value: Any, words: PersonalWords, is_near: bool) -> Any:
    if isinstance(value, str):
        return words.without(value, is_near=is_near)
    if isinstance(value, list):
        return [redacted(each, words, is_near) for each in value]
    if isinstance(value, dict):
        return {
            redacted(key, words, is_near): redacted(each, words, is_near)
            for key, each in value.items()
        }
    return value


def forget_search_words(words: PersonalWords) -> None:
    """The index follows by itself; its list of known words keeps what nobody else has."""
    parts = sorted({part.casefold() for text in words.plain for part in re.split(r"\W+", text)})
    with connection.cursor() as cursor:
        cursor.execute(
            "DELETE FROM jobs_searchword w WHERE w.word IN"
            " (SELECT fold(part) FROM unnest(%s::text[]) AS part) AND NOT EXISTS"
            " (SELECT 1 FROM jobs_searchentry e WHERE e.document @@"
            " ('''' || replace(w.word, '''', '''''') || '''')::tsquery)",
            [parts],
        )


def count(counts: Counter[str], model: type[models.Model], rows: int) -> None:
    if rows:
        counts[str(model._meta.verbose_name_plural)] += rows


def decks_that_stay(client: Client) -> list[Deck]:
    """For the page that asks: what stays in the book."""
    return list(Deck.objects.filter(site__client=client).select_related("site"))
