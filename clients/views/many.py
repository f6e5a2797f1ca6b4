"""The same change on many decks at once, and many clients put away: chosen on a list, looked at row
by row, then done."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.actions import many as actions
from clients.audit_trail import FieldChange, display_value, model_field
from clients.display import format_day
from clients.forms.many import ManyDecksForm
from clients.models import Client, Deck, primary_keys
from clients.pages import (
    FormPage,
    current_user,
    office_required,
    redirect_back,
    render_form_page,
)

NONE_CHOSEN = "Choose at least one, then press the button."
UNKNOWN_VALUE = "not known"


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def change_many_decks(request: HttpRequest) -> HttpResponse:
    """The page `deck_forms:change_many`: what to change, then what that does to each deck."""
    keys = primary_keys(request.POST.getlist("deck"))[: actions.MAX_AT_ONCE]
    decks = list(Deck.objects.with_owner().filter(pk__in=keys))
    if not decks:
        messages.error(request, NONE_CHOSEN)
        return redirect_back(request, "clients:list")
    step = request.POST.get("step", "")
    form = ManyDecksForm(request.POST if step else None)
    if not form.is_valid():
        return render_what_to_change(request, form, decks)
    if step == "save" and (answer := save_changes(request, form, keys)):
        return answer
    return render_each_change(request, form, decks)


def render_what_to_change(
    request: HttpRequest, form: ManyDecksForm, decks: list[Deck]
) -> HttpResponse:
    page = FormPage(
        f"Change {len(decks)} deck{'s' if len(decks) != 1 else ''}",
        "What you leave empty stays as each deck has it. You see every change before it is saved.",
        fields="clients/_many_fields.html",
        button="Show the changes",
        cancel=back_of(request),
    )
    context = {"form": form, "decks": decks, "step": "look", "back": request.POST.get("back", "")}
    return render_form_page(request, page, crumbs={"leaf": "Change many"}, **context)


def render_each_change(
    request: HttpRequest, form: ManyDecksForm, decks: list[Deck]
) -> HttpResponse:
    planned = actions.plan_deck_changes(decks, form.chosen, now=timezone.now())
    same = len(decks) - len(planned)
    count = f"{len(planned)} deck{'s' if len(planned) != 1 else ''}"
    page = FormPage(
        f"{count} would change",
        f"{same} of those chosen {'has' if same == 1 else 'have'} it so already." if same else "",
        fields="clients/_many_changes.html",
        button="Change those ticked",
        cancel=back_of(request),
        has_form=bool(planned),
    )
    rows = [(each.deck, change_lines(each), actions.fingerprint([each])) for each in planned]
    typed = [(name, request.POST.get(name, "")) for name in form.fields]
    context = {"rows": rows, "typed": typed, "back": request.POST.get("back", "")}
    return render_form_page(request, page, crumbs={"leaf": "Change many"}, **context)


def change_lines(planned: actions.PlannedChange) -> list[FieldChange]:
    """What would change of a deck, in words."""
    return [describe_change(name, *values) for name, values in planned.changes.items()]


def describe_change(name: str, before: Any, after: Any) -> FieldChange:
    if name == "archived_at":
        return FieldChange("In the book", place_in_words(before), place_in_words(after))
    field = model_field(Deck, name)
    was, becomes = (display_value(field, value) or UNKNOWN_VALUE for value in (before, after))
    return FieldChange(str(field.verbose_name).capitalize(), was, becomes)


def place_in_words(archived_at: datetime | None) -> str:
    return f"archived on {format_day(archived_at.date())}" if archived_at else "current"


def save_changes(request: HttpRequest, form: ManyDecksForm, keys: list[int]) -> HttpResponse | None:
    seen = {key: request.POST.get(f"seen-{key}", "") for key in keys}
    try:
        count = actions.change_decks(keys=keys, values=form.chosen, seen=seen, now=timezone.now())
    except actions.ChangedMeanwhileError as error:
        messages.error(request, str(error))
        return None
    messages.success(request, f"{count} deck{'s were' if count != 1 else ' was'} changed.")
    return redirect_back(request, "clients:list")


def back_of(request: HttpRequest) -> str:
    """The page that the choice was made on, if it is one of ours."""
    return str(redirect_back(request, "clients:list").url)


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def archive_many_clients(request: HttpRequest) -> HttpResponse:
    """The page `clients:archive_many`: names, then away with them, or back."""
    keys = primary_keys(request.POST.getlist("client"))[: actions.MAX_AT_ONCE]
    is_archived = request.POST.get("to") != "back"
    rows = Client.objects.filter(pk__in=keys, archived_at__isnull=is_archived)
    chosen = list(rows.prefetch_related("properties__decks"))
    if not chosen:
        messages.error(request, NONE_CHOSEN)
        return redirect_back(request, "clients:list")
    if "sure" in request.POST:
        done = actions.archive_clients(
            keys=keys, is_archived=is_archived, by=current_user(request), now=timezone.now()
        )
        what = "archived" if is_archived else "brought back"
        messages.success(request, f"{len(done)} client{'s' if len(done) != 1 else ''} {what}.")
        return redirect("clients:list")
    page = put_away_page(chosen, is_archived, back_of(request))
    context: dict[str, Any] = {"clients": chosen, "to": "away" if is_archived else "back"}
    context["back"] = request.POST.get("back", "")
    return render_form_page(request, page, crumbs={"leaf": "Archive many"}, **context)


def put_away_page(chosen: list[Client], is_archived: bool, back: str) -> FormPage:
    count = f"{len(chosen)} client{'s' if len(chosen) != 1 else ''}"
    return FormPage(
        f"Archive {count}?" if is_archived else f"Bring {count} back?",
        "What waits in the outbox for them is cancelled. Decks, jobs and messages stay and can be"
        " looked up."
        if is_archived
        else "",
        fields="clients/_many_clients.html",
        button="Archive" if is_archived else "Bring back",
        cancel=back,
        is_danger=is_archived,
    )
