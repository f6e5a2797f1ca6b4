"""Make two rows of one thing one, and take it back (docs/decisions/0039).

Whatever points at the row that goes is moved by what Django knows of it, so that a kind of row that
is added later goes over too. Each move and change is kept, for the undo.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction
from django.db.models import Max

from clients.actions import clients
from clients.actions.saving import lock_row, save_if_changed
from clients.doubles import street_key
from clients.events import decks_changed
from clients.messaging.models import Consent
from clients.models import (
    Channel,
    Client,
    ClientMerge,
    ContactPoint,
    Deck,
    DeckMerge,
    Property,
    Species,
    ToldApart,
    User,
)

# Not moved with the rest: they follow by themselves, tell of the past, or are moved one by one.
LEFT_BEHIND = {
    *("jobs.searchentry", "jobs.importrow", "clients.clientmerge", "clients.deckmerge"),
    *("clients.toldapart", "clients.contactpoint", "clients.property"),
    "reminders.surfaceforecast",
}
EMPTY_OF_CLIENT = ("salutation", "language", "preferred_channel")
POSTAL = ("postal_street", "postal_town", "postal_region", "postal_postcode", "postal_country")
EMPTY_OF_DECK = ("area_m2", "height_m", "built_year", "orientation_deg")
LEFT_OUT = "The address was left out when two entries of one client were merged."
WITHDRAWN_BEFORE = "Withdrawn on {day}, in one of two entries of this client that were merged."


class MergeError(ValueError):
    """Two rows that cannot be merged, or a merge that cannot be undone; the message says why."""


@dataclass
class Moves:
    """What a merge moved and changed so far."""

    moved: list[Any] = field(default_factory=list)
    changed: list[Any] = field(default_factory=list)

    def move(
        self, model: type[models.Model], name: str, source: int, target: int, keys: Any
    ) -> None:
        keys = sorted(keys)
        if keys:
            model._base_manager.filter(pk__in=keys).update(**{name: target})
            self.moved.append([model._meta.label_lower, name, source, target, keys])

    def change(self, row: models.Model, **values: Any) -> None:
        for name, value in values.items():
            before = getattr(row, name)
            if before != value:
                kept = [plain_value(before), plain_value(value)]
                self.changed.append([row._meta.label_lower, row.pk, name, *kept])
        save_if_changed(row, values)


def plain_value(value: Any) -> Any:
    """As JSON keeps it."""
    if isinstance(value, datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value


def pointing_at(model: Any) -> Iterator[tuple[Any, str]]:
    """(model, field) of each kind of row that points at one of these and goes over with it."""
    for relation in model._meta.get_fields(include_hidden=True):
        pointed: Any = getattr(relation, "field", None)
        other: Any = getattr(relation, "related_model", None)
        is_key = isinstance(pointed, models.ForeignKey) and not pointed.one_to_one
        if not (relation.auto_created and not relation.concrete and is_key):
            continue
        if other._meta.managed and other._meta.label_lower not in LEFT_BEHIND:
            yield other, pointed.name


def move_all(moves: Moves, kept: models.Model, away: models.Model) -> None:
    for model, name in pointing_at(type(kept)):
        rows = model._base_manager.filter(**{name: away.pk})
        for others in unique_with(model, name):
            taken = model._base_manager.filter(**{name: kept.pk}).values(others)
            rows = rows.exclude(**{f"{others}__in": taken})
        moves.move(model, name, away.pk, kept.pk, rows.values_list("pk", flat=True))


def unique_with(model: type[models.Model], name: str) -> Iterator[str]:
    """The other field of each rule that lets two together stand once."""
    rules = [rule.fields for rule in model._meta.constraints if hasattr(rule, "fields")]
    for fields in [*rules, *model._meta.unique_together]:
        others = [each for each in fields if each != name]
        if name in fields and len(others) == 1:
            yield others[0]


def newest_keys(model: type[models.Model]) -> dict[str, int]:
    kinds = {ContactPoint, Property, *(other for other, _ in pointing_at(model))}
    return {
        other._meta.label_lower: other._base_manager.aggregate(newest=Max("pk"))["newest"] or 0
        for other in kinds
    }


def set_merging() -> None:
    """Let the log of consent change owner, until this transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL restorer.merging = 'on'")


@dataclass(frozen=True)
class ClientChoice:
    """What stays of two clients: whose name, and which ways to reach them go."""

    name: str
    dropped_points: Collection[int] = ()


@transaction.atomic
def merge_clients(
    *, kept: Client, away: Client, choice: ClientChoice, by: User, now: datetime
) -> ClientMerge:
    """Everything of `away` goes to `kept`; `away` stays behind, archived. A withdrawal of either
    stands. Raises `MergeError`."""
    kept, away = lock_pair(kept, away)
    if kept.archived_at or away.archived_at:
        raise MergeError("One of the two is archived. Bring it back first.")
    withdrawn = withdrawals(kept, away)
    newest = newest_keys(Client)
    moves = Moves()
    set_merging()
    for point in ContactPoint.objects.filter(client__in=[kept, away], pk__in=choice.dropped_points):
        clients.cancel_queued_messages(point=point, why=LEFT_OUT, by=by, now=now)
    move_points(moves, kept, away, choice.dropped_points)
    decks = list(Deck.objects.filter(site__client=away).values_list("pk", flat=True))
    move_sites(moves, kept, away)
    move_all(moves, kept, away)
    fill_client(moves, kept, away, choice.name)
    moves.change(away, archived_at=now)
    merge = ClientMerge.objects.create(
        kept=kept, away=away, at=now, by=by, moved=moves.moved, changed=moves.changed, newest=newest
    )
    for withdrawal in withdrawn:
        restate_withdrawal(merge, withdrawal, by=by, now=now)
    decks_changed.send(Deck, deck_ids=decks, now=now)
    return merge


def lock_pair(one: Any, other: Any) -> tuple[Any, Any]:
    """Always in the order of their keys, so that two who merge the same do not wait for each
    other."""
    if one.pk == other.pk:
        raise MergeError("Choose two different ones.")
    locked = {row.pk: lock_row(row) for row in sorted((one, other), key=lambda row: row.pk)}
    return locked[one.pk], locked[other.pk]


def withdrawals(*of: Client) -> list[Consent]:
    """The newest line of each channel of each client, where that is a withdrawal."""
    newest = (
        Consent.objects.filter(client=client, channel=channel).first()
        for client in of
        for channel in Channel.values
    )
    return [line for line in newest if line and not line.is_given]


def restate_withdrawal(merge: ClientMerge, withdrawal: Consent, *, by: User, now: datetime) -> None:
    """Where the other entry had agreed since: the withdrawal stands, by a line of its own, which
    on undo goes back to whoever withdrew."""
    newest = Consent.objects.filter(client=merge.kept, channel=withdrawal.channel).first()
    if newest is None or not newest.is_given:
        return
    evidence = WITHDRAWN_BEFORE.format(day=f"{withdrawal.recorded_at:%Y-%m-%d}")
    entry = clients.ConsentInput(withdrawal.channel, False, withdrawal.basis, "", evidence)
    line = clients.record_consent(client=merge.kept, entry=entry, by=by, now=now)
    merge.moved.append(
        ["clients.consent", "client", withdrawal.client_id, merge.kept_id, [line.pk]]
    )
    merge.save(update_fields=["moved"])


def move_points(moves: Moves, kept: Client, away: Client, dropped: Collection[int]) -> None:
    """Ways to reach them, each once. What is not to stay goes to the entry that is put away."""
    there = {(point.kind, point.normalized): point for point in kept.contact_points.all()}
    gone = [point for point in there.values() if point.pk in dropped]
    for point in away.contact_points.all():
        twin = there.get((point.kind, point.normalized))
        if twin and point.suspended_at and not twin.suspended_at:
            moves.change(twin, suspended_why=point.suspended_why)
            moves.change(twin, suspended_at=point.suspended_at)
        elif not twin and point.pk not in dropped:
            moves.change(point, is_preferred=False)
            moves.move(ContactPoint, "client", away.pk, kept.pk, [point.pk])
    twins = {(point.kind, point.normalized) for point in away.contact_points.all()}
    for point in gone:
        moves.change(point, is_preferred=False)
        if (point.kind, point.normalized) not in twins:
            moves.move(ContactPoint, "client", kept.pk, away.pk, [point.pk])
    for kind in ContactPoint.Kind.values:
        clients.set_preferred_contact(kept, kind, None)


def move_sites(moves: Moves, kept: Client, away: Client) -> None:
    """Properties; the decks of one that `kept` has as well go to that one."""
    there = {
        (street_key(site.street), site.town.casefold()): site for site in kept.properties.all()
    }
    for site in away.properties.all():
        twin = there.get((street_key(site.street), site.town.casefold()))
        if twin is None:
            moves.move(Property, "client", away.pk, kept.pk, [site.pk])
            continue
        for deck in site.decks.all():
            moves.change(deck, label=free_label(twin, deck))
            moves.move(Deck, "site", site.pk, twin.pk, [deck.pk])
        move_all(moves, twin, site)


def free_label(site: Property, deck: Deck) -> str:
    """Its name at another property, with a number if a deck there has it."""
    near = Deck.objects.filter(site__in=[site.pk, deck.site_id]).exclude(pk=deck.pk)
    taken = {label.casefold() for label in near.values_list("label", flat=True)}
    names = [deck.label, *(f"{deck.label[:75]} {number}" for number in range(2, len(taken) + 3))]
    return next(name for name in names if name.casefold() not in taken)


def fill_client(moves: Moves, kept: Client, away: Client, name: str) -> None:
    """The chosen name; what is empty from the other; the notes of both."""
    values = {"name": name, "notes": both_notes(kept.notes, away.notes, 20_000)}
    values |= {each: getattr(kept, each) or getattr(away, each) for each in EMPTY_OF_CLIENT}
    if not kept.postal_street:
        values |= {each: getattr(away, each) for each in POSTAL}
    moves.change(kept, **values)


def both_notes(one: str, other: str, most: int) -> str:
    parts = dict.fromkeys(part for part in (one.strip(), other.strip()) if part)
    return "\n\n".join(parts)[:most]


@transaction.atomic
def merge_decks(*, kept: Deck, away: Deck, by: User, now: datetime) -> DeckMerge:
    """Jobs, visits and photographs of `away` go to `kept`; `away` stays behind, archived.
    Raises `MergeError`."""
    kept, away = lock_pair(kept, away)
    if kept.site_id != away.site_id:
        raise MergeError("The two decks stand at different properties. Move one of them first.")
    if kept.archived_at or away.archived_at:
        raise MergeError("One of the two is archived. Bring it back first.")
    newest = newest_keys(Deck)
    moves = Moves()
    move_all(moves, kept, away)
    values = {name: getattr(away, name) for name in EMPTY_OF_DECK if getattr(kept, name) is None}
    if kept.species == Species.UNKNOWN:
        values["species"] = away.species
    moves.change(kept, notes=both_notes(kept.notes, away.notes, 20_000), **values)
    moves.change(away, archived_at=now)
    merge = DeckMerge.objects.create(
        kept=kept, away=away, at=now, by=by, moved=moves.moved, changed=moves.changed, newest=newest
    )
    decks_changed.send(Deck, deck_ids=[kept.pk, away.pk], now=now)
    return merge


def built_on_merge(merge: ClientMerge | DeckMerge) -> list[str]:
    """What hangs on it, in words: rows added since, and moved rows that have gone elsewhere."""
    found = []
    model = type(merge.kept)
    more: list[tuple[Any, str]] = [(ContactPoint, "client"), (Property, "client")]
    own = {
        key for label, _, _, _, keys in merge.moved if label == "clients.consent" for key in keys
    }
    kinds = [*pointing_at(model), *(more if model is Client else [])]
    for other, name in kinds:
        label = other._meta.label_lower
        newer = other._base_manager.filter(
            **{name: merge.kept_id}, pk__gt=merge.newest.get(label, 0)
        )
        count = newer.exclude(pk__in=own if label == "clients.consent" else []).count()
        if count:
            found.append(counted(other, count))
    for label, name, _, target, keys in merge.moved:
        other = apps.get_model(label)
        gone = len(keys) - other._base_manager.filter(pk__in=keys, **{name: target}).count()
        if gone:
            found.append(f"{counted(other, gone)} moved on or removed")
    later = type(merge)._default_manager.filter(undone_at=None, pk__gt=merge.pk)
    if later.filter(models.Q(kept=merge.kept_id) | models.Q(away=merge.kept_id)).exists():
        found.append("a later merge")
    return found


def counted(model: type[models.Model], count: int) -> str:
    meta = model._meta
    return f"{count} {meta.verbose_name if count == 1 else meta.verbose_name_plural}"


@transaction.atomic
def undo_merge(*, merge: ClientMerge | DeckMerge, now: datetime) -> None:
    """As it was before; what a person changed since stays. Raises `MergeError`."""
    merge = lock_row(merge)
    if merge.undone_at:
        return
    lock_pair(merge.kept, merge.away)
    if hanging := built_on_merge(merge):
        raise MergeError(f"This hangs on it: {', '.join(hanging)}.")
    set_merging()
    clear_preferred(merge)
    for label, name, source, _, keys in reversed(merge.moved):
        apps.get_model(label)._base_manager.filter(pk__in=keys).update(**{name: source})
    for label, key, name, before, after in reversed(merge.changed):
        rows = apps.get_model(label)._base_manager
        rows.filter(pk=key, **{name: after}).update(**{name: before})
    for client in clients_of(merge):
        for kind in ContactPoint.Kind.values:
            clients.set_preferred_contact(client, kind, None)
    save_if_changed(merge, {"undone_at": now})
    decks = decks_of(merge)
    decks_changed.send(Deck, deck_ids=decks, now=now)


def clients_of(merge: ClientMerge | DeckMerge) -> list[Client]:
    return [merge.kept, merge.away] if isinstance(merge, ClientMerge) else []


def clear_preferred(merge: ClientMerge | DeckMerge) -> None:
    """Of those that came over: at no moment two of a kind are the one to use."""
    for label, _, _, _, keys in merge.moved:
        if label == "clients.contactpoint":
            ContactPoint.objects.filter(pk__in=keys).update(is_preferred=False)


def decks_of(merge: ClientMerge | DeckMerge) -> list[int]:
    if isinstance(merge, DeckMerge):
        return [merge.kept_id, merge.away_id]
    mine = Deck.objects.filter(site__client__in=[merge.kept_id, merge.away_id])
    return list(mine.values_list("pk", flat=True))


@transaction.atomic
def tell_apart(*, one: Client, other: Client, by: User, now: datetime) -> None:
    """These two are not one; they are not offered again."""
    first, second = sorted((one.pk, other.pk))
    ToldApart.objects.get_or_create(one_id=first, other_id=second, defaults={"by": by, "at": now})
