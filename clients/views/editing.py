"""The one way in which a page changes a record that others may change too: under the lock of its
row, and never over a change that its person has not seen (docs/decisions/0039)."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from django.db import models, transaction
from django.forms import all_valid
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404
from django.utils import timezone

from clients.audit_trail import last_change_words
from clients.forms.edit_versions import (
    CHOICE_PREFIX,
    DECIDED_FIELD,
    OPENED_FIELD,
    EditForms,
    MeanwhileChange,
    ShownField,
    decided_fields,
    meanwhile_changes,
    pack_version,
    shown_fields,
    unpack_version,
)
from clients.pages import FormPage, render_form_page

Row = TypeVar("Row", bound=models.Model)
Page = TypeVar("Page", bound=EditForms)
PUT_AWAY = {"csrfmiddlewaretoken", OPENED_FIELD, DECIDED_FIELD}


@dataclass(frozen=True)
class FormsOfPage:
    """A page of single forms and lists of rows."""

    single_forms: Sequence[Any]
    formsets: Sequence[Any] = ()

    @property
    def only_form(self) -> Any:
        """Of a page that has one."""
        return self.single_forms[0]

    def is_valid(self) -> bool:
        return all_valid([*self.single_forms, *self.formsets])


def no_facts(row: Any) -> Mapping[str, str]:
    return {}


@dataclass(frozen=True)
class RecordEdit(Generic[Row, Page]):
    """How one kind of record is changed on a page.

    `rows` are those that may be; `build` makes the forms, empty handed (None) as the book has them;
    `save` saves valid ones and answers, or adds an error and gives None; `show` renders the page
    with what is added to its context. `facts` are told on the page and set elsewhere. `back` is
    where the page that compares leads without saving; `is_unchecked` posts are shown again and
    not saved (one more row was asked for).
    """

    rows: models.QuerySet[Row]
    build: Callable[[Row, QueryDict | None], Page]
    save: Callable[[Row, Page], HttpResponse | None]
    show: Callable[[Row, Page, dict[str, str]], HttpResponse]
    back: Callable[[Row], str]
    facts: Callable[[Row], Mapping[str, str]] = field(default=no_facts)
    is_unchecked: Callable[[], bool] = field(default=lambda: False)


def edit_record(request: HttpRequest, pk: int, edit: RecordEdit[Row, Page]) -> HttpResponse:
    """Show the form, or save what was sent of it if nothing that it would write over has changed;
    else show both sides, and save once the person has decided."""
    if request.method != "POST":
        row = get_object_or_404(edit.rows, pk=pk)
        page = edit.build(row, None)
        return edit.show(row, page, opened_context(page, edit.facts(row)))
    with transaction.atomic():
        # locked without joins, then read: as it is once whoever came before has committed
        get_object_or_404(edit.rows.model._base_manager.select_for_update(no_key=True), pk=pk)
        return save_record(request, get_object_or_404(edit.rows, pk=pk), edit)


def save_record(request: HttpRequest, row: Row, edit: RecordEdit[Row, Page]) -> HttpResponse:
    if DECIDED_FIELD in request.POST:
        request.POST = decided_fields(request.POST, edit.build(row, request.POST))  # type: ignore[assignment]
    if OPENED_FIELD in request.POST and not edit.is_unchecked():
        held = shown_fields(edit.build(row, None), edit.facts(row))
        typed = shown_fields(edit.build(row, request.POST), edit.facts(row))
        opened = unpack_version(request.POST[OPENED_FIELD])
        if changes := meanwhile_changes(opened, held, typed):
            return render_both_sides(request, row, changes, held, edit.back(row))
    page = edit.build(row, request.POST)
    answer = edit.save(row, page) if not edit.is_unchecked() and page.is_valid() else None
    return answer or edit.show(row, page, {OPENED_FIELD: request.POST.get(OPENED_FIELD, "")})


def opened_context(page: EditForms, facts: Mapping[str, str]) -> dict[str, str]:
    return {OPENED_FIELD: pack_version(shown_fields(page, facts))}


def render_both_sides(
    request: HttpRequest,
    row: models.Model,
    changes: Sequence[MeanwhileChange],
    held: Mapping[str, ShownField],
    back: str,
) -> HttpResponse:
    """What somebody else changed, beside what was typed; everything typed is carried along."""
    who = last_change_words(row, now=timezone.now())
    around = FormPage(
        "Changed meanwhile",
        f"{row}: {who} while your form was open. Nothing of yours is saved yet, and nothing is"
        " lost.",
        fields="clients/_both_sides.html",
        action=request.get_full_path(),
        cancel=back,
        status=409,
    )
    context = {
        "changes": changes,
        "typed": [
            (name, value)
            for name, values in request.POST.lists()
            if name not in PUT_AWAY and not name.startswith(CHOICE_PREFIX)
            for value in values
        ],
        OPENED_FIELD: pack_version(held),
    }
    return render_form_page(request, around, **context)
