"""Change many decks, or put many clients away, in one transaction: planned, looked at, then done
if nothing has changed in between."""

import hashlib
import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from django.db import transaction
from django.db.models import Field

from clients.actions import clients
from clients.actions.saving import save_if_changed
from clients.display import format_day
from clients.events import decks_changed
from clients.models import Client, Deck, User

MAX_AT_ONCE = 500


class ChangedMeanwhileError(ValueError):
    """What was looked at is not what the book holds now; the message says so."""


@dataclass(frozen=True)
class PlannedChange:
    """One deck and what of it would change: field → before and after."""

    deck: Deck
    changes: Mapping[str, tuple[Any, Any]]

    @property
    def lines(self) -> list[tuple[str, str, str]]:
        """Label, before and after in words."""
        return [
            (field_label(name), say_value(name, before), say_value(name, after))
            for name, (before, after) in self.changes.items()
        ]


def deck_field(name: str) -> "Field[Any, Any]":
    return cast("Field[Any, Any]", Deck._meta.get_field(name))


def field_label(name: str) -> str:
    if name == "archived_at":
        return "In the book"
    return str(deck_field(name).verbose_name).capitalize()


def say_value(name: str, value: Any) -> str:
    if name == "archived_at":
        return f"archived on {format_day(value.date())}" if value else "current"
    choices = dict(deck_field(name).flatchoices or ())
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(choices.get(value, value))


def plan_deck_changes(
    decks: Iterable[Deck], values: Mapping[str, Any], *, now: datetime
) -> list[PlannedChange]:
    """Those decks that would change; `is_archived` among the values puts away or brings back."""
    fields = {name: value for name, value in values.items() if name != "is_archived"}
    planned = []
    for deck in decks:
        wanted = dict(fields)
        if "is_archived" in values and values["is_archived"] != bool(deck.archived_at):
            wanted["archived_at"] = now if values["is_archived"] else None
        changes = {
            name: (getattr(deck, name), value)
            for name, value in wanted.items()
            if getattr(deck, name) != value
        }
        if changes:
            planned.append(PlannedChange(deck, changes))
    return planned


def fingerprint(planned: Sequence[PlannedChange]) -> str:
    """What was looked at: which decks, and what each holds now."""
    held = [
        [each.deck.pk, {name: str(before) for name, (before, _) in each.changes.items()}]
        for each in sorted(planned, key=lambda each: each.deck.pk)
    ]
    return hashlib.sha256(json.dumps(held, sort_keys=True).encode()).hexdigest()


@transaction.atomic
def change_decks(
    *, keys: Collection[int], values: Mapping[str, Any], seen: Mapping[int, str], now: datetime
) -> int:
    """How many were changed. `seen` is the fingerprint of each deck as it was looked at.
    Raises `ChangedMeanwhileError`, and then nothing was changed."""
    rows = Deck._base_manager.filter(pk__in=keys).order_by("pk")
    planned = plan_deck_changes(list(rows.select_for_update(no_key=True)), values, now=now)
    if {each.deck.pk: fingerprint([each]) for each in planned} != dict(seen):
        raise ChangedMeanwhileError(
            "Somebody has changed one of these decks meanwhile. Nothing was saved. Look again."
        )
    for each in planned:
        save_if_changed(each.deck, {name: after for name, (_, after) in each.changes.items()})
    changed = [each.deck.pk for each in planned]
    if changed:
        decks_changed.send(Deck, deck_ids=changed, now=now)
    return len(changed)


@transaction.atomic
def archive_clients(
    *, keys: Collection[int], is_archived: bool, by: User, now: datetime
) -> list[Client]:
    """Those that were put away or brought back; who is there already stays as they are."""
    rows = Client.objects.filter(pk__in=keys, archived_at__isnull=is_archived).order_by("pk")
    action = clients.archive_client if is_archived else clients.unarchive_client
    found = list(rows)
    for client in found:
        action(client=client, by=by, now=now)
    return found
