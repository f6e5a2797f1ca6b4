"""The one page that is a form and nothing else: a head, fields, Save and Cancel."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


@dataclass(frozen=True)
class FormPage:
    """What stands around the fields; only the title is needed.

    `fields` is a template for those that are not simply one below the other, `before` and `after`
    are those of what stands before and after the form. `action` is the address that the form goes
    to where it is not the page's own, `other_button` (words, name, value) answers it the other way.
    Without `has_form` nothing can be filled in now, and what stands before says why. `kept` is the
    title under which a phone keeps it; then the page needs a `form_key`.
    """

    title: str
    lead: str = ""
    back: tuple[str, str] | None = None
    before: str = ""
    fields: str = ""
    after: str = ""
    action: str = ""
    button: str = "Save"
    busy: str = ""
    other_button: tuple[str, str, str] | None = None
    cancel: str = ""
    cancel_words: str = "Cancel"
    is_danger: bool = False
    has_form: bool = True
    has_files: bool = False
    is_checked_by_browser: bool = True
    kept: str = ""
    photos_to: str = ""
    status: int = 200


def render_form_page(request: HttpRequest, around: FormPage, **context: Any) -> HttpResponse:
    """`form`, or `forms` and `has_errors` where there are several; `crumbs` (client, home, deck,
    leaf) where it belongs to a client."""
    context = {"form_page": around, **context}
    return render(request, "clients/form_page.html", context, status=around.status)
