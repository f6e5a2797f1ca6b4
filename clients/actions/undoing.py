"""Take back the last change of one record, as the audit trail has it, where nothing hangs on it."""

from ast import literal_eval
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from auditlog.models import LogEntry
from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import FieldDoesNotExist, ValidationError
from django.db import models, transaction

from clients.actions.saving import lock_row
from clients.events import decks_changed
from clients.models import Deck

# Records that a person fills in as a form, with the way from a deck to them where the forecast
# reads them. What has steps of its own (bookings, offers, prices, consents) is put right there.
UNDOABLE = {
    "clients.client": "site__client",
    "clients.property": "site",
    "clients.deck": "pk",
    "jobs.job": "jobs",
    "jobs.visit": "visits",
    "jobs.coatapplied": "jobs__coats_applied",
    "jobs.workedhours": "",
    "jobs.product": "jobs__coats_applied__product",
    "jobs.batch": "",
    "jobs.photo": "",
    "jobs.document": "",
    "jobs.crew": "",
    "jobs.stocktin": "",
}
ELSEWHERE = "Put it right on its own page."


class UndoError(ValueError):
    """A change that cannot be taken back; the message says why."""


def newest_entries(rows: Sequence[LogEntry]) -> set[int]:
    """Which of these entries are the last change of a record of a kind that can be undone."""
    changed = [
        (row.content_type_id, row.object_pk)
        for row in rows
        if row.action == LogEntry.Action.UPDATE and undoable_model(row)
    ]
    newest = LogEntry.objects.filter(
        content_type__in={kind for kind, _ in changed}, object_pk__in={key for _, key in changed}
    )
    found = newest.order_by().values("content_type", "object_pk").annotate(last=models.Max("id"))
    return {row["last"] for row in found} & {row.pk for row in rows}


def undoable_model(entry: LogEntry) -> Any:
    model: Any = entry.content_type.model_class()
    return model if model and model._meta.label_lower in UNDOABLE else None


@transaction.atomic
def undo_change(*, entry: LogEntry, now: datetime) -> models.Model:
    """The record as it was before that entry. Raises `UndoError`."""
    model = undoable_model(entry)
    there = model._base_manager.filter(pk=entry.object_pk).first() if model else None
    if there is None or entry.action != LogEntry.Action.UPDATE:
        raise UndoError(f"This cannot be undone from here. {ELSEWHERE}")
    row: models.Model = lock_row(there)
    if LogEntry.objects.get_for_object(row).filter(pk__gt=entry.pk).exists():
        raise UndoError("It was changed again since. Undo the newest change first.")
    if hanging := next(built_since(row, entry.timestamp), ""):
        raise UndoError(f"{hanging} was added since. {ELSEWHERE}")
    before = values_before(row, entry.changes_dict or {})
    for name, value in before.items():
        setattr(row, name, value)
    try:
        row.full_clean()
    except ValidationError as error:
        raise UndoError(f"It would not fit any more: {'; '.join(error.messages)}") from error
    row.save(update_fields=list(before))
    if way := UNDOABLE[model._meta.label_lower]:
        decks = list(Deck.objects.filter(**{way: row.pk}).values_list("pk", flat=True).distinct())
        decks_changed.send(Deck, deck_ids=decks, now=now)
    return row


def values_before(row: models.Model, changes: Mapping[str, Any]) -> dict[str, Any]:
    """What each field held, if the record still holds what the change left."""
    found: dict[str, Any] = {}
    for name, change in changes.items():
        field = plain_field(type(row), name)
        if field is None or not isinstance(change, list) or len(change) != 2:
            raise UndoError(f"{name.replace('_', ' ').capitalize()} cannot be undone. {ELSEWHERE}")
        if getattr(row, name) != read_value(field, change[1]):
            raise UndoError("It holds something else by now. Nothing was undone.")
        found[name] = read_value(field, change[0])
    if not found:
        raise UndoError("The trail does not say what it was before.")
    return found


def plain_field(model: type[models.Model], name: str) -> Any:
    """A field that a person fills in; not one that says where the record belongs or how it
    stands, since more than the field hangs on those."""
    try:
        field: Any = model._meta.get_field(name)
    except FieldDoesNotExist:
        return None
    if not field.concrete or field.is_relation or not field.editable:
        return None
    refused = (models.DateTimeField, models.JSONField, models.FileField, models.UUIDField)
    return None if isinstance(field, refused) else field


def read_value(field: Any, text: Any) -> Any:
    if text in (None, "None") and (field.null or not isinstance(field, models.CharField)):
        return None
    return literal_eval(text) if isinstance(field, ArrayField) else field.to_python(text)


def built_since(row: models.Model, at: datetime) -> Iterator[str]:
    """What was added to the record later, in words."""
    signed = getattr(getattr(row, "sign_off", None), "signed_at", None)
    if signed and signed > at:
        yield "The client’s signature"
    for relation in row._meta.related_objects:
        other: Any = relation.related_model
        names = {field.name for field in other._meta.concrete_fields}
        if other._meta.managed and "created_at" in names and relation.field.name in names:
            newer = other._base_manager.filter(**{relation.field.name: row, "created_at__gt": at})
            if newer.exists():
                yield f"A {other._meta.verbose_name}"
