"""The page of one client: how to reach them, their decks and everything that happened; and the
list of all clients, which is the page to look anything up."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Count, Prefetch, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from clients.forms.clients import suppressed_channels
from clients.messaging.law_page import channel_permissions
from clients.messaging.models import Consent
from clients.models import Client, ClientMerge, Deck, FormerOwner
from clients.pages import business_of, business_today, current_user
from jobs.models import Booking, Job
from jobs.search import NO_FILTERS
from reminders.forms.look_up import LookUpForm, typed_look_up
from reminders.models import SavedView
from reminders.timeline import TIMELINE_PARTS, client_timeline
from reminders.today import DeckTable, TableRequest, TodayDeck, current_rule
from reminders.views.search import look_up_page

CLIENTS_PER_PAGE = 50
ENTRIES_SHOWN = 60
KEPT = {"": "Current", "archived": "Archived", "all": "All"}
SHOWN_OF_DECK = [
    "label",
    "archived_at",
    "site__client_id",
    "site__street",
    "site__town",
    "forecast__due_on",
]


@require_GET
def show_client(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `clients:detail`; `?show=` a part of the history, `?all=1` all of it."""
    consents = Prefetch("consents", Consent.objects.select_related("recorded_by"))
    owned = Prefetch("formerly_owned", FormerOwner.objects.select_related("site__client"))
    owners = Prefetch("properties__former_owners", FormerOwner.objects.select_related("client"))
    rows = Client.objects.prefetch_related(
        "contact_points", "properties__decks", consents, owned, owners
    )
    client = get_object_or_404(rows, pk=pk)
    today = business_today(request)
    part = request.GET.get("show", "")
    part = part if part in TIMELINE_PARTS else ""
    years, count = client_timeline(
        client,
        part=part,
        with_messages=current_user(request).may_send,
        limit=10**6 if "all" in request.GET else ENTRIES_SHOWN,
    )
    decks = [deck for home in client.properties.all() for deck in home.decks.all()]
    lines = lines_by_deck(request, decks)
    context: dict[str, Any] = {
        "client": client,
        "today": today,
        "permissions": channel_permissions(client, business_of(request), today=today),
        "refusing": suppressed_channels(client, business_of(request)),
        "homes": [
            (home, [(deck, lines.get(deck.pk)) for deck in home.decks.all()])
            for home in client.properties.all()
        ],
        "merges": ClientMerge.objects.standing_of(client.pk),
        "next_visit": next_visit(client, today=today),
        "charged": charged_in_all(client),
        "years": years,
        "count": count,
        "is_cut_off": count > sum(len(year.entries) for year in years),
        "part": part,
        "parts": list(TIMELINE_PARTS),
        "first_deck": Deck.objects.filter(site__client=client).current().order_by("id").first(),
    }
    return render(request, "reminders/client.html", context)


def lines_by_deck(request: HttpRequest, decks: Sequence[Deck]) -> dict[int, TodayDeck]:
    """How each of these decks stands today; those without a coat are left out."""
    table = DeckTable(TableRequest(), current_rule(business_today(request)), business_of(request))
    return {line.deck_id: line for line in table.lines_of([deck.pk for deck in decks])}


def charged_in_all(client: Client) -> list[dict[str, Any]]:
    """What their jobs came to, by currency."""
    priced = Job.objects.filter(deck__site__client=client, amount__isnull=False)
    sums = priced.order_by("currency").values("currency")
    return [dict(row) for row in sums.annotate(sum=Sum("amount"), jobs=Count("pk"))]


def next_visit(client: Client, *, today: date) -> Booking | None:
    """The first one that is booked or held and not over."""
    living = Booking.objects.filter(
        client=client,
        state__in=[Booking.State.BOOKED, Booking.State.HELD],
        last_on__gte=today,
    )
    return living.select_related("crew", "site").order_by("first_on").first()


@require_GET
def list_clients(request: HttpRequest) -> HttpResponse:
    """The pages `clients:list` and `decks:search`: the answer to `?q=` and the filters, or clients
    by name."""
    form = LookUpForm(request.GET)
    kept = request.GET.get("kept", "")
    context: dict[str, Any] = {"words": form.words, "form": form}
    context |= {"kept": kept, "kept_choices": KEPT.items()}
    context["views"] = SavedView.objects.filter(
        owner=current_user(request), page=SavedView.Page.LOOK_UP
    )
    context["kept_query"] = typed_look_up(request.GET)
    if form.words or form.filters != NO_FILTERS:
        context |= look_up_page(request, form)
    else:
        context |= clients_page(kept, request.GET.get("page"))
    return render(request, "reminders/search.html", context)


def clients_page(kept: str, number: str | None) -> dict[str, Any]:
    """A page of the list, each client with their decks and what is due."""
    rows = Client.objects.prefetch_related("contact_points")
    if kept == "archived":
        rows = rows.exclude(archived_at=None)
    elif kept != "all":
        rows = rows.filter(archived_at=None)
    numbers = Paginator(rows.values_list("pk", flat=True), CLIENTS_PER_PAGE)
    page: Page[Any] = numbers.get_page(number)
    page.object_list = list(rows.filter(pk__in=page.object_list).only("name", "archived_at"))
    decks = Deck.objects.filter(site__client__in=[client.pk for client in page.object_list])
    decks = decks.select_related("site", "forecast").only(*SHOWN_OF_DECK)
    by_client: dict[int, list[Deck]] = {}
    for deck in decks.order_by("site_id", "label"):
        by_client.setdefault(deck.site.client_id, []).append(deck)
    listed = [(client, by_client.get(client.pk, [])) for client in page.object_list]
    return {"page": page, "listed": listed, "query": f"kept={kept}" if kept else ""}
