"""Bring your list in: choose it, check what was guessed, let it come in, mend what is missing."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clients.pages import FormPage, business_of, current_user, owner_required, render_form_page
from jobs import importing
from jobs.forms.lists import CheckListForm, ChooseListForm, MendRowForm
from jobs.importing import ImportConflict, ListError, ListReading, preview_list
from jobs.models import ImportRow, ListImport

ROWS_A_PAGE = 50
MENDED_A_PAGE = 25
EXAMPLES = 3
EXAMPLE_ROWS = 40
State = ListImport.State
# Kinds of rows in the order in which they are told.
MADE_WORDS = {
    "clients": "client",
    "sites": "property",
    "decks": "deck",
    "jobs": "job",
    "products": "product",
    "points": "phone number or e-mail address",
}
PLURALS = {
    "property": "properties",
    "phone number or e-mail address": "phone numbers and e-mail addresses",
}


@require_http_methods(["GET", "POST"])
@owner_required
def choose_list(request: HttpRequest) -> HttpResponse:
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = ChooseListForm(*sent)
    if form.is_valid():
        try:
            staged = stage_chosen(request, form)
        except ListError as error:
            form.add_error("file" if form.cleaned_data.get("file") else "cells", str(error))
        else:
            if len(staged) > 1:
                names = ", ".join(source.sheet for source in staged)
                messages.info(request, f"The file has {len(staged)} sheets: {names}. Check each.")
            return redirect("lists:detail", staged[0].pk)
    page = Paginator(ListImport.objects.newest_first(), ROWS_A_PAGE).get_page(
        request.GET.get("page")
    )
    around = FormPage(
        "Bring your list in",
        "Any list of clients, decks and past jobs, as it is. Nothing is saved before you have seen"
        " what becomes of it.",
        back=(reverse("settings:overview"), "Settings"),
        after="jobs/lists/_earlier.html",
        button="Read it",
        has_files=True,
        is_checked_by_browser=False,
    )
    return render_form_page(request, around, form=form, page=page)


def stage_chosen(request: HttpRequest, form: ChooseListForm) -> list[ListImport]:
    file = form.cleaned_data.get("file")
    business = business_of(request)
    by = current_user(request)
    now = timezone.now()
    if file:
        return importing.stage_list(
            name=file.name, content=file.read(), business=business, by=by, now=now
        )
    text = form.cleaned_data["cells"]
    return importing.stage_pasted_cells(text=text, business=business, by=by, now=now)


@require_http_methods(["GET", "POST"])
@owner_required
def show_list(request: HttpRequest, pk: int) -> HttpResponse:
    source = get_object_or_404(ListImport, pk=pk)
    if source.state == State.ASKING:
        return check_list(request, source)
    if request.method == "POST":
        messages.info(request, f"This list is {source.get_state_display().lower()} already.")
        return redirect("lists:detail", pk)
    if source.is_working:
        return render(request, "jobs/lists/result.html", progress_of(source, timezone.now()))
    return show_result(request, source)


def check_list(request: HttpRequest, source: ListImport) -> HttpResponse:
    """The guesses with their first rows; a press saves what was changed, or lets the list in."""
    now = timezone.now()
    book = importing.book_facts(business_of(request), now)
    reading = ListReading(source, book)
    if request.method == "POST":
        form = check_form(reading, request.POST)
        if form.is_valid():
            is_other = form.mapping != source.mapping
            source.mapping, source.decisions = form.mapping, form.decisions
            importing.save_answers(source=source)
            if "run" in request.POST and not is_other:
                return run_list(request, source, now)
            reading = ListReading(source, book)
            if is_other:
                messages.info(request, "The columns were read again. Look at the rows below.")
    form = check_form(reading)
    return render(
        request,
        "jobs/lists/check.html",
        {
            "source": source,
            "columns": form.columns(example_cells(source)),
            "questions": form.questions(),
            "preview": preview_list(reading, now),
            "others": other_sheets(source),
        },
    )


def check_form(reading: ListReading, data: Any = None) -> CheckListForm:
    return CheckListForm(
        data, source=reading.source, doubts=reading.doubts, answers=reading.answers
    )


def other_sheets(source: ListImport) -> list[ListImport]:
    """Sheets of the same file that nobody has checked yet."""
    others = ListImport.objects.filter(
        file_name=source.file_name, created_at=source.created_at, state=State.ASKING
    )
    return list(others.exclude(pk=source.pk).order_by("pk"))


def example_cells(source: ListImport) -> list[list[str]]:
    """Some different cells of each column."""
    rows = ImportRow.objects.filter(source=source).in_order()[:EXAMPLE_ROWS]
    found = []
    for at in range(len(source.heads)):
        cells = dict.fromkeys(cell[:60] for row in rows if (cell := row.cell(at)))
        found.append(list(cells)[:EXAMPLES])
    return found


def run_list(request: HttpRequest, source: ListImport, now: datetime) -> HttpResponse:
    try:
        importing.start_import(source=source, now=now)
    except ImportConflict as conflict:
        messages.info(request, str(conflict))
    return redirect("lists:detail", source.pk)


@dataclass(frozen=True)
class ListProgress:
    """How far a list is."""

    done: int
    total: int
    seconds_left: int | None

    @property
    def words(self) -> str:
        """“12,300 of 100,000 rows, about 20 s left”."""
        left = ""
        if self.seconds_left is not None:
            minutes = self.seconds_left // 60
            left = (
                f", about {minutes} min left"
                if minutes > 1
                else f", about {self.seconds_left} s left"
            )
        return f"{self.done:,} of {self.total:,} rows{left}"


def progress_of(source: ListImport, now: datetime) -> dict[str, Any]:
    left = None
    if source.rows_done and source.started_at and source.state == State.RUNNING:
        taken = (now - source.started_at).total_seconds()
        left = max(1, round(taken / source.rows_done * (source.rows_total - source.rows_done)))
    return {"source": source, "progress": ListProgress(source.rows_done, source.rows_total, left)}


def show_result(request: HttpRequest, source: ListImport) -> HttpResponse:
    """What came of the rows; those to complete first."""
    rows = ImportRow.objects.filter(source=source)
    states = rows.counts_by_state()
    waiting = list(rows.to_complete()[:MENDED_A_PAGE])
    wanted = request.GET.get("state", "")
    shown = rows.filter(state=wanted) if wanted in ImportRow.State.values else rows
    page = Paginator(shown.in_order().select_related("client"), ROWS_A_PAGE).get_page(
        request.GET.get("page")
    )
    return render(
        request,
        "jobs/lists/result.html",
        {
            "source": source,
            "made": made_words(source),
            "states": [
                (value, label, states[value])
                for value, label in ImportRow.State.choices
                if states.get(value)
            ],
            "state": wanted,
            "waiting": [MendRowForm(row=row, mapping=source.mapping) for row in waiting],
            "waiting_count": states.get(ImportRow.State.TO_COMPLETE, 0),
            "page": page,
            "others": other_sheets(source),
        },
    )


def made_words(source: ListImport) -> str:
    """“60 clients, 61 decks, 73 jobs”."""
    found = []
    for kind, word in MADE_WORDS.items():
        if count := source.counts.get(kind, 0):
            found.append(f"{count:,} {word if count == 1 else PLURALS.get(word, word + 's')}")
    return ", ".join(found)


@require_POST
@owner_required
def undo_list(request: HttpRequest, pk: int) -> HttpResponse:
    source = get_object_or_404(ListImport, pk=pk)
    try:
        built = importing.start_undoing(source=source)
    except ImportConflict as conflict:
        messages.info(request, str(conflict))
        return redirect("lists:detail", pk)
    if built:
        messages.error(
            request,
            f"Nothing was undone: {', '.join(built)} have come to what this list added. Take those"
            " back first.",
        )
    elif ListImport.objects.get(pk=pk).state == State.UNDONE:
        messages.success(request, f"{source} is undone. What it had added is out again.")
    return redirect("lists:detail", pk)


@require_POST
@owner_required
def check_list_again(request: HttpRequest, pk: int) -> HttpResponse:
    importing.reopen_import(source=get_object_or_404(ListImport, pk=pk))
    return redirect("lists:detail", pk)


@require_POST
@owner_required
def forget_list(request: HttpRequest, pk: int) -> HttpResponse:
    source = get_object_or_404(ListImport, pk=pk)
    if importing.forget_list(source=source):
        messages.success(request, f"{source} was removed. It had added nothing.")
        return redirect("lists:choose")
    messages.error(request, "This list has come in. Undo it first.")
    return redirect("lists:detail", pk)


@require_POST
@owner_required
def mend_list_row(request: HttpRequest, pk: int, row: int) -> HttpResponse:
    source = get_object_or_404(ListImport, pk=pk)
    waiting = get_object_or_404(ImportRow, pk=row, source=source)
    if "leave_out" in request.POST:
        importing.leave_row_out(row=waiting)
        messages.success(request, f"Row {waiting.number} is left out.")
        return redirect("lists:detail", pk)
    form = MendRowForm(request.POST, row=waiting, mapping=source.mapping)
    if form.is_valid():
        try:
            mended = importing.mend_row(
                row=waiting,
                cells=form.cleaned_data,
                business=business_of(request),
                now=timezone.now(),
            )
        except ImportConflict as conflict:
            messages.info(request, str(conflict))
        else:
            say_mended(request, mended)
    return redirect("lists:detail", pk)


def say_mended(request: HttpRequest, row: ImportRow) -> None:
    if row.state == ImportRow.State.TO_COMPLETE:
        messages.error(request, f"Row {row.number}: {' '.join(row.why.values())}")
    else:
        messages.success(request, f"Row {row.number} is in.")
