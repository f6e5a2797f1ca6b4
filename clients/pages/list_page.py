"""The one page that is a list and nothing else: a head, rows, the pages of the list."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

ROWS_OF_A_LIST = 50


@dataclass(frozen=True)
class ListPage:
    """What stands around the rows. `rows` is their template, which goes over `page`; `empty` is
    said in their place, under `empty_title`; `actions` are address and words of each button in
    the head, the main one first."""

    title: str
    lead: str
    rows: str
    empty: str
    empty_title: str = ""
    back: tuple[str, str] | None = None
    actions: tuple[tuple[str, str], ...] = ()


def render_list_page(
    request: HttpRequest, around: ListPage, rows: QuerySet[Any] | Sequence[Any], **context: Any
) -> HttpResponse:
    """The asked page of the rows; `crumbs` as for a form."""
    page = Paginator(rows, ROWS_OF_A_LIST).get_page(request.GET.get("page"))
    context = {"list_page": around, "page": page, **context}
    return render(request, "clients/list_page.html", context)
