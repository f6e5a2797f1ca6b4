"""Change many decks, or put many clients away, in one transaction: planned, looked at, then done
if nothing has changed in between."""

import hashlib
import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from clients.actions import clients
from clients.actions.saving import save_if_changed
from clients.events import decks_changed
from clients.models import SHADE_FIELDS, Client, Deck, User, with_both_shades

MAX_AT_ONCE = 500


class ChangedMeanwhileError(ValueError):
    """What was looked at is not what the book holds now; the message says so."""


@dataclass(frozen=True)
class PlannedChange:
    """One deck and what of it would change: field → before and after."""

    deck: Deck
    changes: Mapping[str, tuple[Any, Any]]


def plan_deck_changes(
    decks: Iterable[Deck], values: Mapping[str, Any], *, now: datetime
) -> list[PlannedChange]:
    """Those decks that would change; `is_archived` among the values puts away or brings back."""
    fields = {name: value for name, value in values.items() if name != "is_archived"}
    planned = []
    for deck in decks:
        shades = {name: fields.get(name, getattr(deck, name)) for name in SHADE_FIELDS}
        wanted = fields | with_both_shades(shades)
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
