"""One entry that is really two: a client or a deck of which part goes to a new entry. Taken back by
merging the two (clients/actions/merging.py)."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import models, transaction

from clients.actions import clients
from clients.actions.merging import free_label, pointing_at, withdrawals
from clients.actions.saving import lock_row
from clients.events import decks_changed, decks_handed_over
from clients.messaging.models import Consent
from clients.models import Client, ContactPoint, Deck, Property, User
from jobs.models import Document, Job, Photo, Visit

SPLIT = "The entry of this client was split in two."
# of the deck's own row; of its sizes nobody knows how much is of which part
NOT_COPIED = {"id", "created_at", "archived_at", "notes", "label"}
SIZES = {"area_m2", "rail_m", "stair_treads", "screen_m2", "height_m"}


class SplitError(ValueError):
    """A split that leaves one side empty; the message says what to choose."""


@dataclass(frozen=True)
class DeckPart:
    """What is of the other deck, by their keys. Photographs of a job go with it, and so does what
    was found when it was done."""

    label: str
    jobs: Collection[int] = ()
    visits: Collection[int] = ()
    photos: Collection[int] = ()
    documents: Collection[int] = ()


@dataclass(frozen=True)
class ClientPart:
    """What is of the other client, by their keys; decks go with their property."""

    name: str
    sites: Collection[int] = ()
    points: Collection[int] = ()


@transaction.atomic
def split_client(*, client: Client, part: ClientPart, by: User, now: datetime) -> Client:
    """The new client. Offers and visits go with their property, consents and messages stay; a
    withdrawal stands for both. Raises `SplitError`."""
    client = lock_row(client)
    sites = client.properties.filter(pk__in=part.sites)
    points = client.contact_points.filter(pk__in=part.points)
    if not sites.exists() and not points.exists():
        raise SplitError("Choose at least one property, number or address that goes over.")
    if not part.name.strip():
        raise SplitError("Write the name of the other client.")
    other = Client.objects.create(
        name=" ".join(part.name.split())[:200], language=client.language, created_at=now
    )
    restate_withdrawals(client, other, by=by, now=now)
    hand_points(client, other, points, by=by, now=now)
    hand_sites(client, other, list(sites.values_list("pk", flat=True)), now)
    return other


def restate_withdrawals(client: Client, other: Client, *, by: User, now: datetime) -> None:
    """Nobody knows which of the two withdrew."""
    for line in withdrawals(client):
        evidence = f"Withdrawn on {line.recorded_at:%Y-%m-%d}, before the entry was split in two."
        Consent.objects.create(
            client=other,
            channel=line.channel,
            is_given=False,
            basis=line.basis,
            evidence=evidence,
            recorded_at=now,
            recorded_by=by,
        )


def hand_points(
    client: Client,
    other: Client,
    points: models.QuerySet[ContactPoint],
    *,
    by: User,
    now: datetime,
) -> None:
    for point in points:
        clients.cancel_queued_messages(point=point, why=SPLIT, by=by, now=now)
        point.client = other
        point.is_preferred = False
        point.save(update_fields=["client", "is_preferred"])
    for each in (client, other):
        for kind in ContactPoint.Kind.values:
            clients.set_preferred_contact(each, kind, None)


def hand_sites(client: Client, other: Client, sites: list[int], now: datetime) -> None:
    """Properties, and what belongs to the client by one of them."""
    if not sites:
        return
    for site in Property.objects.filter(pk__in=sites):
        site.client = other
        site.save(update_fields=["client"])
    for model, name in pointing_at(Client):
        if is_of_a_site(model):
            rows = model._base_manager.filter(**{name: client}, site__in=sites)
            rows.update(**{name: other})
    decks = list(Deck.objects.filter(site__in=sites).values_list("pk", flat=True))
    decks_handed_over.send(Deck, deck_ids=decks, words=SPLIT, now=now)
    decks_changed.send(Deck, deck_ids=decks, now=now)


def is_of_a_site(model: type[models.Model]) -> bool:
    return (
        any(
            each.name == "site" and each.related_model is Property
            for each in model._meta.concrete_fields
        )
        and model._meta.label_lower != "clients.formerowner"
    )


@transaction.atomic
def split_deck(*, deck: Deck, part: DeckPart, now: datetime) -> Deck:
    """The new deck, at the same property, with the same wood and wear; its size is not known.
    Raises `SplitError`."""
    deck = lock_row(deck)
    jobs = list(Job.objects.filter(deck=deck, pk__in=part.jobs))
    rows = [*jobs, *rows_of_part(deck, part, jobs)]
    if not rows:
        raise SplitError("Choose at least one entry that is of the other deck.")
    label = free_label(deck.site, Deck(label=part.label.strip()[:80], site=deck.site))
    other = Deck.objects.create(**facts_of(deck), label=label, created_at=now)
    for row in rows:  # one by one, so that each stands in the trail
        row.deck = other
        row.save(update_fields=["deck"])
    move_rows_of_jobs(deck, other, jobs)
    decks_changed.send(Deck, deck_ids=[deck.pk, other.pk], now=now)
    return other


def rows_of_part(deck: Deck, part: DeckPart, jobs: Sequence[Job]) -> Iterator[Any]:
    """Checks, photographs and documents that go over."""
    yield from Visit.objects.filter(
        models.Q(pk__in=part.visits) | models.Q(job__in=jobs), deck=deck
    )
    yield from Photo.objects.filter(
        models.Q(job__in=jobs) | models.Q(job=None, defect=None, pk__in=part.photos), deck=deck
    )
    yield from Document.objects.filter(deck=deck, pk__in=part.documents)


def facts_of(deck: Deck) -> dict[str, Any]:
    """What both decks have alike; sizes are of the old one."""
    return {
        each.attname: getattr(deck, each.attname)
        for each in deck._meta.concrete_fields
        if each.name not in NOT_COPIED | SIZES
    }


def move_rows_of_jobs(deck: Deck, other: Deck, jobs: Sequence[Job]) -> None:
    """What else names both the deck and one of these jobs, such as a reminder about its coat."""
    for model, name in pointing_at(Deck):
        names: Mapping[str, Any] = {each.name: each for each in model._meta.concrete_fields}
        if "job" in names and model not in (Photo, Visit):
            model._base_manager.filter(**{name: deck}, job__in=jobs).update(**{name: other})
