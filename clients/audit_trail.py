"""The audit trail in words: who changed what, when, and what it was before."""

from ast import literal_eval
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from auditlog.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import FieldDoesNotExist
from django.db.models import Field, Model, Q, QuerySet
from django.utils import timezone

from clients.models import User, is_primary_key

ACTION_VERBS = {
    LogEntry.Action.CREATE: "added",
    LogEntry.Action.UPDATE: "changed",
    LogEntry.Action.DELETE: "deleted",
}
MAX_VALUE_LENGTH = 200
RENAMED_FIELDS = {"property": "site", "surface": "surfaces"}  # as older entries call them
IGNORED_FIELDS = {
    "id",
    "created_at",
    "updated_at",
    "uploaded_at",
}  # they say nothing that the entry does not
PROGRAM = "program"
# kind of record → kinds of its parts, and by which field they belong to it
PARTS = {
    "job": [("coatapplied", "job"), ("workedhours", "job"), ("photo", "job")],
    "client": [("contactpoint", "client"), ("property", "client")],
    "deck": [("photo", "deck"), ("document", "deck")],
    "product": [
        ("batch", "product"),
        ("cancode", "product"),
        ("pack", "product"),
        ("document", "product"),
    ],
}
RECENT = timedelta(hours=24)


@dataclass(frozen=True)
class FieldChange:
    """One field, before and after."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class AuditEntry:
    """One entry. `who` is empty where the program itself acted."""

    at: datetime
    who: str
    action: str
    kind: str
    record: str
    key: str  # what the filter by record takes
    changes: list[FieldChange]
    pk: int = 0
    can_be_undone: bool = False


def mask_value(value: str) -> str:
    """What the trail keeps of a password: nothing."""
    return "hidden"


def audit_log_entries(*, person: str = "", record: str = "") -> QuerySet[LogEntry]:
    """Newest first; `person` is the key of a user or "program", `record` such as client-7 or
    client; one record with its parts."""
    rows: QuerySet[Any, Any] = LogEntry.objects.select_related("actor", "content_type")
    rows = rows.order_by("-timestamp", "-id")
    if person == PROGRAM:
        rows = rows.filter(actor=None)
    elif person:
        rows = rows.filter(actor_id=int(person)) if is_primary_key(person) else rows.none()
    kind, _, key = record.partition("-")
    if not record:
        return rows
    if not kind.isidentifier() or (key and not is_primary_key(key)):
        return rows.none()
    rows = rows.filter(with_parts(kind, int(key)) if key else Q(content_type__model=kind))
    return rows


def with_parts(kind: str, key: int) -> Q:
    """The record itself and the rows that are a part of it, also those that are gone."""
    asked = Q(content_type__model=kind, object_id=key)
    for part, field in PARTS.get(kind, ()):
        content_type = ContentType.objects.filter(model=part).first()
        model: Any = content_type.model_class() if content_type else None
        if model is None:
            continue
        there = model._base_manager.filter(**{field: key}).values_list("pk", flat=True)
        gone = Q(action=LogEntry.Action.DELETE, **{f"changes__{field}__contains": [str(key)]})
        asked |= Q(content_type=content_type) & (Q(object_id__in=list(there)) | gone)
    return asked


def describe_entries(
    rows: Iterable[LogEntry], *, undoable: Collection[int] = ()
) -> Iterator[AuditEntry]:
    """`undoable` are the keys of those that can be taken back."""
    for row in rows:
        kind = row.content_type
        yield AuditEntry(
            at=row.timestamp,
            who=str(row.actor) if row.actor else "",
            action=ACTION_VERBS.get(row.action, "saw"),
            kind=content_type_name(kind),
            record=row.object_repr[:MAX_VALUE_LENGTH],
            key=f"{kind.model}-{row.object_id}",
            changes=list(field_changes(row, kind.model_class())),
            pk=row.pk,
            can_be_undone=row.pk in undoable,
        )


def content_type_name(kind: ContentType) -> str:
    model = kind.model_class()
    return str(model._meta.verbose_name) if model else kind.model


def field_changes(row: LogEntry, model: type[Model] | None) -> Iterator[FieldChange]:
    """Only what can be read: times that the program keeps are left out, an added row tells just
    what it holds."""
    for name, values in (row.changes_dict or {}).items():
        if name in IGNORED_FIELDS or not isinstance(values, list) or len(values) != 2:
            continue
        field = model_field(model, RENAMED_FIELDS.get(name, name))
        if not getattr(field, "concrete", True):
            continue  # rows that point here have entries of their own
        before, after = (display_value(field, value) for value in values)
        if name == "password":
            yield FieldChange("password", "", "")
        elif before != after:
            yield FieldChange(
                str(getattr(field, "verbose_name", name)).replace("_", " "), before, after
            )


def model_field(model: type[Model] | None, name: str) -> Any:
    try:
        return model._meta.get_field(name) if model else None
    except FieldDoesNotExist:
        return None


def display_value(field: "Field[Any, Any] | None", value: Any) -> str:
    """A value as people say it."""
    if value in (None, "None", ""):
        return ""
    choices = dict(getattr(field, "flatchoices", None) or [])
    text = str(choices.get(value, value))
    if isinstance(field, ArrayField) and text.startswith("["):
        named = dict(getattr(field.base_field, "flatchoices", None) or [])
        text = ", ".join(str(named.get(each, each)) for each in literal_eval(text))
    text = {"True": "yes", "False": "no"}.get(text, text)
    if getattr(field, "is_relation", False):
        text = f"no. {text}"
    return text if len(text) <= MAX_VALUE_LENGTH else f"{text[:MAX_VALUE_LENGTH]}…"


def last_change_words(row: Model, *, now: datetime) -> str:
    """“Ada changed it at 14:05” of today's newest entry, else “somebody changed it”."""
    entries: QuerySet[Any, Any] = LogEntry.objects.get_for_object(row)
    newest = entries.filter(timestamp__gt=now - RECENT).select_related("actor").first()
    if newest is None:
        return "somebody changed it"
    return (
        f"{newest.actor or 'somebody'} changed it at {timezone.localtime(newest.timestamp):%H:%M}"
    )


def audited_types() -> list[tuple[str, str]]:
    """The sorts of record that have entries."""
    ids = LogEntry.objects.order_by().values_list("content_type_id", flat=True).distinct()
    return sorted(
        (kind.model, content_type_name(kind))
        for kind in ContentType.objects.filter(pk__in=list(ids))
    )


def audit_actors() -> QuerySet[User]:
    return User.objects.order_by("first_name", "username")
