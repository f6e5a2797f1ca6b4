"""The one page that is a form and nothing else: a head, fields, Save and Cancel."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


@dataclass(frozen=True)
class FormPage:
    """What stands around the fields. `fields` is a template for those that are not simply one
    below the other, `after` one for what follows the form; both are optional. `kept` is the title
    under which a phone keeps it; then the page needs a `form_key`."""

    title: str
    lead: str = ""
    back: tuple[str, str] | None = None
    fields: str = ""
    after: str = ""
    button: str = "Save"
    busy: str = ""
    cancel: str = ""
    is_danger: bool = False
    is_checked_by_browser: bool = True
    kept: str = ""


def render_form_page(request: HttpRequest, around: FormPage, **context: Any) -> HttpResponse:
    """`form`, or `forms` and `has_errors` where there are several; `crumbs` (client, home, deck,
    leaf) where it belongs to a client."""
    return render(request, "clients/form_page.html", {"form_page": around, **context})
