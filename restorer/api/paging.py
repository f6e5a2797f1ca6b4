"""Pages of a list: rows in an order that stays, and where the next page begins."""

import base64
import binascii
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, Generic, TypeVar

from django.db.models import Model, QuerySet
from django.http import HttpRequest
from ninja import Schema
from ninja.errors import ValidationError
from pydantic import Field

RowModel = TypeVar("RowModel", bound=Model)
RowSchema = TypeVar("RowSchema", bound=Schema)
RowLine = TypeVar("RowLine")
MAX_PAGE_ROWS = 200
MAX_KEY = 2**63 - 1  # PostgreSQL's bigint


class PageOf(Schema, Generic[RowSchema]):
    """One page of a list."""

    items: list[RowSchema]
    next: str | None = Field(description="Address of the next page; null on the last one.")


class PageQuery(Schema):
    """Which page of how many rows."""

    limit: int = Field(50, ge=1, le=MAX_PAGE_ROWS, description="Rows a page.")
    cursor: str = Field("", max_length=200, description="As `next` gives it.")

    def after_key(self) -> int:
        """The number of the last row of the page before."""
        text = self.cursor_text()
        if not text:
            return 0
        return self.number(text)

    def after_day(self) -> tuple[date, int]:
        """Day and number of the last row of the page before."""
        text = self.cursor_text()
        if not text:
            return date.min, 0
        day, _, number = text.partition("/")
        try:
            return date.fromisoformat(day), self.number(number)
        except ValueError as error:
            raise bad_cursor() from error

    def number(self, text: str) -> int:
        if not (text.isascii() and text.isdecimal()) or len(text) > 19 or int(text) > MAX_KEY:
            raise bad_cursor()
        return int(text)

    def cursor_text(self) -> str:
        try:
            return base64.b64decode(self.cursor.encode(), altchars=b"-_", validate=True).decode()
        except (binascii.Error, ValueError) as error:
            raise bad_cursor() from error


def bad_cursor() -> ValidationError:
    return ValidationError(
        [{"loc": ("query", "cursor"), "msg": "This is no cursor of ours: follow `next`"}]
    )


def page_by_key(
    request: HttpRequest, rows: "QuerySet[RowModel]", page: PageQuery
) -> dict[str, Any]:
    """The page of these rows in the order of their numbers."""
    after = rows.filter(pk__gt=page.after_key()).order_by("pk")
    found = list(after[: page.limit + 1])
    return page_of(request, found, page.limit, lambda row: str(row.pk))


def page_of(
    request: HttpRequest,
    found: Sequence[RowLine],
    limit: int,
    place: Callable[[RowLine], str],
) -> dict[str, Any]:
    """Of one row more than the page has: the page, and the place after which the next begins."""
    items = found[:limit]
    more = len(found) > limit
    return {"items": items, "next": next_address(request, place(items[-1])) if more else None}


def next_address(request: HttpRequest, place: str) -> str:
    query = request.GET.copy()
    query["cursor"] = base64.urlsafe_b64encode(place.encode()).decode()
    return request.build_absolute_uri(f"{request.path}?{query.urlencode()}")
