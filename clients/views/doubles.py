"""Two entries of one client, or of one deck: found, looked at side by side, merged, told apart, and
taken apart again."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients import display, doubles
from clients.actions import merging
from clients.models import Client, ClientMerge, Deck, DeckMerge, primary_keys
from clients.pages import (
    FormPage,
    ListPage,
    current_user,
    office_required,
    render_form_page,
    render_list_page,
)

LIKELY_DOUBLES = ListPage(
    "Likely doubles",
    "Two entries that may be one client. Nothing is merged before you have looked.",
    rows="clients/_doubles.html",
    empty="No two entries look like one client.",
)


@require_GET
@office_required
def list_doubles(request: HttpRequest) -> HttpResponse:
    """The page `clients:doubles`."""
    around, pairs = LIKELY_DOUBLES, None
    if doubles.is_large_client_list():
        kept = doubles.kept_pairs(now=timezone.now())
        around, pairs = said_when(kept.at), kept.pairs
    lines: Any = LazyDoubles(doubles.likely_pairs() if pairs is None else pairs)
    return render_list_page(request, around, lines, crumbs={"leaf": around.title})


def said_when(at: datetime | None) -> ListPage:
    """Of a large book: when it was looked through, or that somebody is at it."""
    if at is None:
        return replace(LIKELY_DOUBLES, empty="The book is being looked through. Come back soon.")
    local = timezone.localtime(at)
    when = f"Looked through on {display.format_day(local)} at {display.format_clock(local)}."
    when = display.end_once(when)
    return replace(LIKELY_DOUBLES, lead=f"{LIKELY_DOUBLES.lead} {when}")


class LazyDoubles:
    """The pairs for the paginator: only the clients of a page of them are fetched."""

    def __init__(self, pairs: Sequence[doubles.LikelyPair]) -> None:
        self.pairs = pairs

    def __len__(self) -> int:
        return len(self.pairs)

    def __getitem__(self, part: slice) -> list[doubles.LikelyDouble]:
        return doubles.doubles_of(self.pairs[part])


def pair_or_404(one: int, other: int) -> doubles.LikelyDouble:
    """The older one first, whichever way they were named."""
    rows = Client.objects.prefetch_related("contact_points", "properties__decks", "consents")
    first, second = (get_object_or_404(rows, pk=pk) for pk in sorted((one, other)))
    return doubles.compare_clients(first, second)


@require_http_methods(["GET", "POST"])
@office_required
def merge_two_clients(request: HttpRequest, one: int, other: int) -> HttpResponse:
    """The page `clients:merge`: side by side, then merge or tell apart."""
    pair = pair_or_404(one, other)
    by, now = current_user(request), timezone.now()
    if request.method != "POST":
        return render_merge_form(request, pair)
    if "apart" in request.POST:
        merging.tell_apart(one=pair.one, other=pair.other, by=by, now=now)
        messages.success(request, f"{pair.one} and {pair.other} stay two clients.")
        return redirect("clients:doubles")
    kept = pair.other if request.POST.get("name") == str(pair.other.pk) else pair.one
    shown = set(primary_keys(request.POST.getlist("shown")))
    choice = merging.ClientChoice(
        kept.name, shown - set(primary_keys(request.POST.getlist("stays")))
    )
    try:
        merging.merge_clients(kept=pair.one, away=pair.other, choice=choice, by=by, now=now)
    except merging.MergeError as error:
        messages.error(request, str(error))
        return redirect("clients:merge", pair.one.pk, pair.other.pk)
    messages.success(request, f"{kept.name} is one client now. It can be undone on this page.")
    return redirect("clients:detail", pair.one.pk)


def render_merge_form(request: HttpRequest, pair: doubles.LikelyDouble) -> HttpResponse:
    both = f": both have {', '.join(pair.shared)}" if pair.shared else ""
    pairs = reverse("clients:doubles")
    page = FormPage(
        "One client?",
        f"{pair.score} of 100 alike{both}.",
        back=(pairs, LIKELY_DOUBLES.title),
        fields="clients/_merge_fields.html",
        button="Merge: one client",
        other_button=("No, two clients", "apart", "yes"),
        cancel=pairs,
        cancel_words="Decide later",
    )
    return render_form_page(request, page, sides=sides_of(pair))


def sides_of(pair: doubles.LikelyDouble) -> list[dict[str, Any]]:
    sides = [
        {"client": client, "points": list(client.contact_points.all()), **counts_of(client)}
        for client in (pair.one, pair.other)
    ]
    own = {(point.kind, point.normalized) for point in sides[0]["points"]}
    twice = {
        (point.kind, point.normalized)
        for point in sides[1]["points"]
        if (point.kind, point.normalized) in own
    }
    for side in sides:
        side["points"] = [
            (point, (point.kind, point.normalized) not in twice) for point in side["points"]
        ]
    return sides


def counts_of(client: Client) -> dict[str, Any]:
    """What goes over, counted."""
    moved = (
        (model, model._base_manager.filter(**{name: client}).count())
        for model, name in merging.pointing_at(Client)
    )
    return {"counts": [merging.counted(model, count) for model, count in moved if count]}


@require_POST
@office_required
def undo_client_merge(request: HttpRequest, pk: int) -> HttpResponse:
    merge = get_object_or_404(ClientMerge.objects.select_related("kept", "away"), pk=pk)
    if undone(request, merge):
        messages.success(request, f"{merge.kept} and {merge.away} are two clients again.")
    return redirect("clients:detail", merge.kept_id)


def undone(request: HttpRequest, merge: ClientMerge | DeckMerge) -> bool:
    try:
        merging.undo_merge(merge=merge, now=timezone.now())
    except merging.MergeError as error:
        messages.error(request, f"It cannot be undone. {error}")
        return False
    merge.kept.refresh_from_db()
    merge.away.refresh_from_db()
    return True


@require_http_methods(["GET", "POST"])
@office_required
def merge_two_decks(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `deck_forms:merge`: which deck of the same property is this one as well?"""
    kept = get_object_or_404(Deck.objects.with_owner(), pk=pk)
    others = kept.site.decks.filter(archived_at=None).exclude(pk=pk)
    if request.method == "POST":
        chosen = primary_keys(request.POST.getlist("away"))
        away = get_object_or_404(others, pk=chosen[0] if chosen else 0)
        try:
            merging.merge_decks(kept=kept, away=away, by=current_user(request), now=timezone.now())
        except merging.MergeError as error:
            messages.error(request, str(error))
        else:
            messages.success(request, f"{kept.label} is one deck now.")
        return redirect("decks:detail", pk)
    page = FormPage(
        f"Merge another deck into {kept.label}",
        "Its jobs, visits and photos come here; the other one is archived. It can be undone as long"
        " as nothing was built on it.",
        before="" if others else "clients/_no_other_deck.html",
        fields="clients/_merge_decks_fields.html",
        button="Merge: one deck",
        cancel=reverse("decks:detail", args=[pk]),
        has_form=bool(others),
    )
    crumbs = {"client": kept.site.client, "home": kept.site, "deck": kept, "leaf": "Merge"}
    return render_form_page(request, page, deck=kept, others=others, crumbs=crumbs)


@require_POST
@office_required
def undo_deck_merge(request: HttpRequest, pk: int) -> HttpResponse:
    merge = get_object_or_404(DeckMerge.objects.select_related("kept", "away"), pk=pk)
    if undone(request, merge):
        messages.success(request, f"{merge.kept.label} and {merge.away.label} are two decks again.")
    return redirect("decks:detail", merge.kept_id)
