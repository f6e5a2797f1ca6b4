"""Taking a whole list out of the book again, as long as nothing was built on it."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from auditlog.context import disable_auditlog
from auditlog.models import LogEntry
from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.db import connection
from django.db.models import Model

from clients.models import Client, ContactPoint, Deck, Property
from jobs.models import Batch, ImportRow, Job, ListImport, Product, Visit

# Kinds in the order in which they can go: children first.
MADE_MODELS: dict[str, type[Model]] = {
    "jobs": Job,
    "visits": Visit,
    "decks": Deck,
    "sites": Property,
    "points": ContactPoint,
    "clients": Client,
    "batches": Batch,
    "products": Product,
}
# Rows that follow by themselves, or are this list's own: nobody built them.
FOLLOWING = {
    *("jobs.importrow", "jobs.searchentry", "jobs.coat", "reminders.forecast"),
    "reminders.surfaceforecast",
    *("clients.contactpoint", "jobs.coatapplied"),
}
KEYS_AT_ONCE = 2_000


@dataclass(frozen=True)
class BuiltOn:
    """What was added to rows that the list made."""

    count: int
    what: str

    def __str__(self) -> str:
        return f"{self.count:,} {self.what}"


def made_keys(source: ListImport) -> dict[str, list[int]]:
    """Kind → keys of all rows that the list made."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT kind.key, array_agg(made.value::bigint) FROM jobs_importrow row,"
            " jsonb_each(row.made) AS kind, jsonb_array_elements(kind.value) AS made"
            " WHERE row.source_id = %s GROUP BY kind.key",
            [source.pk],
        )
        found: dict[str, list[int]] = dict(cursor.fetchall())
    return found | {kind: list(keys) for kind, keys in source.made.items()}


def what_was_built_on(source: ListImport) -> list[BuiltOn]:
    """Rows of others that hang on what the list made, and changes that people made since."""
    made = made_keys(source)
    own = {MADE_MODELS[kind]: set(keys) for kind, keys in made.items()}
    found = [
        built
        for kind in MADE_MODELS
        if made.get(kind)
        for built in hanging_on(kind, made[kind], own)
    ]
    changed = sum(count_changes(MADE_MODELS[kind], keys) for kind, keys in made.items())
    if changed:
        found.append(BuiltOn(changed, "changes by people"))
    return found


def hanging_on(
    kind: str, keys: Collection[int], own: dict[type[Model], set[int]]
) -> Iterator[BuiltOn]:
    relations: list[Any] = MADE_MODELS[kind]._meta.get_fields(include_hidden=True)
    for relation in relations:
        model: Any = relation.related_model
        if not relation.auto_created or relation.concrete or not model or not model._meta.managed:
            continue
        if model._meta.label_lower in FOLLOWING or not hasattr(relation, "field"):
            continue
        rows = model._default_manager.filter(**{f"{relation.field.name}__in": list(keys)})
        others = set(rows.order_by().values_list("pk", flat=True)) - own.get(model, set())
        if others:
            yield BuiltOn(len(others), str(model._meta.verbose_name_plural))


def count_changes(model: type[Model], keys: Collection[int]) -> int:
    """Entries of the trail: bringing a list in leaves none on the rows themselves."""
    kind = ContentType.objects.get_for_model(model)
    return int(
        LogEntry.objects.filter(content_type=kind, object_id__in=list(keys))
        .values("object_id")
        .distinct()
        .count()
    )


def remove_made_rows(source: ListImport) -> tuple[set[int], set[int]]:
    """Take out what the list made and put back what it changed, within the caller's transaction.
    Returns the decks and clients that stay and are other than they were."""
    made = made_keys(source)
    decks, clients = staying(source, made)
    with disable_auditlog():
        put_back(source)
        ImportRow.objects.filter(source=source).update(client=None, deck=None)
        for kind, model in MADE_MODELS.items():
            keys = made.get(kind, [])
            for at in range(0, len(keys), KEYS_AT_ONCE):
                model._default_manager.filter(pk__in=keys[at : at + KEYS_AT_ONCE]).delete()
    return decks, clients


def staying(source: ListImport, made: dict[str, list[int]]) -> tuple[set[int], set[int]]:
    rows = ImportRow.objects.filter(source=source).order_by()
    decks = set(rows.exclude(deck=None).values_list("deck_id", flat=True))
    clients = set(rows.exclude(client=None).values_list("client_id", flat=True))
    return decks - set(made.get("decks", [])), clients - set(made.get("clients", []))


def put_back(source: ListImport) -> None:
    """Old values, newest change first; what a person changed since stays."""
    rows = ImportRow.objects.filter(source=source).exclude(before=[]).order_by("-ordinal")
    for changes in rows.values_list("before", flat=True):
        for label, key, name, old, new in reversed(changes):
            model: Any = apps.get_model(label)
            model._default_manager.filter(pk=key, **{name: new}).update(**{name: old})
