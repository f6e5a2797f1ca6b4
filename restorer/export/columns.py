"""Which tables and columns an export holds, and how a value is written."""

import base64
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from typing import Any
from uuid import UUID

from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.duration import duration_string

APPS = ["clients", "jobs", "reminders", "auditlog"]
# made again by the program itself, of the moment only, or secrets
LEFT_OUT_TABLES = {
    "clients_authenticator",
    "clients_device",
    "clients_heartbeat",
    "clients_passkey",
    "clients_place",
    "clients_receivedform",
    "clients_recoverycode",
    "clients_uploadpart",
    "clients_user_groups",
    "clients_user_user_permissions",
    "jobs_expectedweather",
    "jobs_searchentry",
    "jobs_searchword",
    "jobs_unwrittensearch",
}
# secrets, and what is true of one installation only
LEFT_OUT_COLUMNS = {
    ("clients_user", "password"),
    ("clients_user", "passkey_handle"),
    ("clients_user", "session_round"),
    ("clients_business", "sending_held_at"),
    ("clients_mailserver", "password_sealed"),
    ("clients_textgateway", "auth_secret"),
    ("clients_textgateway", "hook_hash"),
    ("clients_textgateway", "hook_key"),
}
KINDS: "list[tuple[type[models.Field[Any, Any]], str]]" = [
    (models.BooleanField, "true or false"),
    (models.DateTimeField, "date and time in UTC, ISO 8601"),
    (models.DateField, "date, ISO 8601"),
    (models.TimeField, "time, ISO 8601"),
    (models.DurationField, "days hours:minutes:seconds"),
    (models.DecimalField, "decimal number"),
    (models.FloatField, "number"),
    (models.IntegerField, "whole number"),
    (models.BinaryField, "bytes in base64 (RFC 4648)"),
    (models.JSONField, "JSON"),
    (ArrayField, "list as JSON"),
    (models.UUIDField, "UUID"),
    (models.FileField, "name of a file under files/"),
]


@dataclass(frozen=True)
class Column:
    """One column of a table of the export."""

    field: "models.Field[Any, Any]"

    @property
    def name(self) -> str:
        return str(self.field.attname)

    @property
    def is_content_type(self) -> bool:
        """Numbers of content types differ from database to database; their names do not."""
        return self.field.related_model is ContentType

    @property
    def refers_to(self) -> str:
        related = self.field.related_model
        return "" if self.is_content_type or not related else str(related._meta.db_table)

    @property
    def kind(self) -> str:
        if self.is_content_type:
            return "app.model"
        if self.field.related_model:
            return f"id of a row of {self.refers_to}"
        return next((words for kind, words in KINDS if isinstance(self.field, kind)), "text")

    def description(self) -> dict[str, str]:
        field = self.field
        return {
            "table": field.model._meta.db_table,
            "column": self.name,
            "kind": self.kind,
            "may_be_empty": "true" if field.null else "false",
            "values": "; ".join(f"{value} = {words}" for value, words in field.flatchoices),
            "meaning": f"{field.verbose_name}. {field.help_text}".strip(". ").strip(),
        }

    def read(self, value: Any) -> Any:
        """A value of the export as the field takes it."""
        if value is None:
            return None
        if self.is_content_type:
            return ContentType.objects.get_by_natural_key(*str(value).split(".")).pk
        if isinstance(self.field, models.BinaryField):
            return base64.b64decode(value)
        if isinstance(self.field, models.JSONField):
            return value
        if isinstance(self.field, ArrayField):
            return [self.field.base_field.to_python(each) for each in value]
        return getattr(self.field, "target_field", self.field).to_python(value)


@cache
def exported_models() -> tuple[type[models.Model], ...]:
    """By name of the table."""
    found = (
        model
        for label in APPS
        for model in apps.get_app_config(label).get_models(include_auto_created=True)
        if model._meta.managed and model._meta.db_table not in LEFT_OUT_TABLES
    )
    return tuple(sorted(found, key=lambda model: model._meta.db_table))


@cache
def exported_columns(model: type[models.Model]) -> tuple[Column, ...]:
    table = model._meta.db_table
    return tuple(
        Column(field)
        for field in model._meta.concrete_fields
        if not field.generated and (table, field.attname) not in LEFT_OUT_COLUMNS
    )


def described_columns() -> Iterator[dict[str, str]]:
    for model in exported_models():
        yield from (column.description() for column in exported_columns(model))


def table_rows(model: type[models.Model]) -> Iterator[dict[str, Any]]:
    """Each row by its columns, in order of its key."""
    columns = exported_columns(model)
    names = [column.name for column in columns]
    rows = model._base_manager.order_by("pk").values_list(*names)
    for row in rows.iterator(chunk_size=2000):
        yield {
            column.name: content_type_name(value) if column.is_content_type else written(value)
            for column, value in zip(columns, row, strict=True)
        }


def content_type_name(number: int | None) -> str | None:
    if number is None:
        return None
    return ".".join(ContentType.objects.get_for_id(number).natural_key())


def written(value: Any) -> Any:
    """As JSON holds it; no digit is lost."""
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return duration_string(value)
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(value).decode()
    if isinstance(value, list):
        return [written(each) for each in value]
    return value


def cell(value: Any) -> Any:
    """As a sheet holds it."""
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, bool):
        return "true" if value else "false"
    return value
