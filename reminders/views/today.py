"""Today: what waits for a person, and where every deck stands; the list on paper and as CSV."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.models import Channel, User, is_primary_key, primary_keys
from clients.pages import business_of, business_today, current_user, office_required
from clients.tables import FILE_FORMATS
from jobs.diary import read_season
from jobs.models import Crew, Product
from jobs.views.crew_round import crew_round_context
from reminders import today as today_page
from reminders.forecasting import forecast_wear_curve
from reminders.forms.look_up import typed_look_up
from reminders.models import Forecast, SavedView
from reminders.months import month_key, month_of
from reminders.today import DeckTable, TableRequest, TodayDeck
from reminders.views.today_export import list_as_pdf, list_as_table

MAX_VIEW_NAME = 60
# Heads of the table: the key of its order, its words, the class of its cells.
HEADS = [
    ("client", "Client", ""),
    ("town", "Place", ""),
    ("coat", "Last coat", ""),
    ("state", "State", ""),
    ("size", "Size", "number"),
    ("price", "Price", "number"),
    ("contact", "Last contact", ""),
    ("", "By", ""),
    ("", "Phone", "number"),
]
EXPORT_FORMATS = {*FILE_FORMATS, "pdf"}


@require_http_methods(["GET", "HEAD", "POST"])
def show_today(request: HttpRequest) -> HttpResponse:
    """The page `today`; with `format=csv`, `xlsx` or `pdf` the list alone, of the chosen decks if
    it is posted."""
    today = business_today(request)
    if not current_user(request).may_send or "round" in request.GET:
        return render(request, "reminders/today.html", crew_round_context(request, today))
    asked = TableRequest.from_address(request.GET)
    table = DeckTable(asked, today_page.current_rule(today), business_of(request))
    if request.method == "POST" or request.GET.get("format") in EXPORT_FORMATS:
        return export_list(request, table)
    return render(request, "reminders/today.html", today_context(request, table, today))


def export_list(request: HttpRequest, table: DeckTable) -> HttpResponse:
    """The decks that are chosen, else all that the table shows on all its pages."""
    chosen = primary_keys(request.POST.getlist("deck"))
    if request.method == "POST" and not chosen:
        messages.error(request, "Choose at least one deck, then print.")
        return redirect(f"{reverse('today')}?{table.asked.query}")
    lines = (
        table.lines_of(chosen[: today_page.MAX_EXPORTED_ROWS])
        if chosen
        else table.lines(slice(today_page.MAX_EXPORTED_ROWS))
    )
    kind = request.POST.get("format") or request.GET.get("format")
    if kind == "pdf":
        title = f"{len(lines)} chosen" if chosen else today_page.DECK_TABS[table.asked.tab]
        return list_as_pdf(title, lines, business=business_of(request), today=table.rule.today)
    return list_as_table(
        lines, format=kind if kind in FILE_FORMATS else "csv", today=table.rule.today
    )


def today_context(request: HttpRequest, table: DeckTable, today: date) -> dict[str, Any]:
    asked = table.asked
    business = business_of(request)
    page = table_page(table, request.GET.get("page"))
    lines = list(page.object_list)
    unfiltered = table
    if asked.is_filtered:
        unfiltered = DeckTable(TableRequest(), table.rule, business)
    steps = setup_steps_shown(request, unfiltered.counts["all"])
    inbox = today_page.read_inbox(today=today, is_open="inbox" in request.GET)
    request.inbox_count = inbox.count  # type: ignore[attr-defined] # for the navigation
    return {
        "today": today,
        "written": month_key(month_of(today)),
        "inbox": inbox,
        "is_inbox_open": "inbox" in request.GET,
        "offers": today_page.open_offers(today=today),
        "to_remind": unfiltered.counts["remind"],
        "bookings": today_page.bookings_ahead(today),
        "season": read_season(today=today, business=business),
        "map": today_page.read_town_map(table, today=today) if "map" in request.GET else None,
        "asked": asked,
        "table": table,
        "page": page,
        "page_address": f"?{asked.query_on(page.number)}",
        "lines": lines,
        "heads": [
            (key, words, kind, asked.sorted_by(key) if key else "") for key, words, kind in HEADS
        ],
        "tab_links": [
            (name, words, count, asked.query_with(tab=name)) for name, words, count in table.tabs
        ],
        **choice_context(request, table, lines),
        **filter_context(table),
        **opened_context(request, lines, today),
        "views": SavedView.objects.filter(owner=current_user(request), page=SavedView.Page.TODAY),
        "steps": steps,
        "steps_done": sum(step.is_done for step in steps),
    }


def table_page(table: DeckTable, number: str | None) -> Page[TodayDeck]:
    lines: Any = LazyLines(table)  # all a paginator asks for
    return Paginator(lines, today_page.ROWS_A_PAGE).get_page(number)


class LazyLines:
    """The lines of the tab for the paginator: only a page of them is fetched."""

    def __init__(self, table: DeckTable) -> None:
        self.table = table

    def __len__(self) -> int:
        return self.table.total

    def __getitem__(self, part: slice) -> list[TodayDeck]:
        return self.table.lines(part)


def setup_steps_shown(request: HttpRequest, decks: int) -> list[Any]:
    """While the book is small and something is missing."""
    if decks >= today_page.FULL_BOOK_DECKS:
        return []
    steps = list(
        today_page.setup_steps(business_of(request), may_manage=current_user(request).may_manage)
    )
    return [] if all(step.is_done for step in steps) else steps


def choice_context(
    request: HttpRequest, table: DeckTable, lines: list[TodayDeck]
) -> dict[str, Any]:
    """`?chosen=all`: every deck of the tab is chosen, those of other pages too."""
    is_all = request.GET.get("chosen") == "all"
    shown = {line.deck_id for line in lines}
    others: list[int] = []
    if is_all and table.total > len(lines):
        others = [deck for deck in table.deck_ids(today_page.MAX_CHOSEN_ROWS) if deck not in shown]
    choosable = [line for line in lines if line.can_be_chosen]
    return {
        "is_all_chosen": is_all,
        "others_chosen": others[: max(0, today_page.MAX_CHOSEN_ROWS - len(choosable))],
        "households": today_page.household_count(choosable),
        "price_sum": today_page.price_sum(choosable),
    }


def filter_context(table: DeckTable) -> dict[str, Any]:
    return {
        "towns": table.towns,
        "products": choices_of(Product.objects.finishes().order_by("name")),
        "ways": [*Channel.choices, (today_page.NO_WAY, "No way")],
        "crews": choices_of(Crew.objects.filter(is_active=True)),
    }


def choices_of(rows: QuerySet[Any]) -> list[tuple[str, str]]:
    """Number, as it stands in an address, and name."""
    return [(str(pk), name) for pk, name in rows.values_list("pk", "name")]


def opened_context(request: HttpRequest, lines: list[TodayDeck], today: date) -> dict[str, Any]:
    """The row that is opened by `?open=`, with its curve."""
    asked = request.GET.get("open", "")
    pk = int(asked) if is_primary_key(asked) else 0
    if pk not in {line.deck_id for line in lines}:
        return {"opened": None, "opened_pk": ""}
    row = Forecast.objects.select_related("job", "deck__site").get(deck=pk)
    opened = {"forecast": row, "curve": forecast_wear_curve(row, today=today)}
    return {"opened": opened, "opened_pk": str(pk)}


@require_POST
def save_view(request: HttpRequest) -> HttpResponse:
    """Keep the list or look-up that is shown under a name; the same name again changes it."""
    page = "look_up" if request.POST.get("page") == "look_up" else "today"
    typed = QueryDict(request.POST.get("query", ""))
    query = (
        typed_look_up(typed)
        if page == SavedView.Page.LOOK_UP
        else TableRequest.from_address(typed.dict()).query
    )
    name = " ".join(request.POST.get("name", "").split())[:MAX_VIEW_NAME]
    back = f"{view_address(page)}?{query}"
    if not name:
        messages.error(request, "Give it a name, then save it.")
        return redirect(back)
    SavedView.objects.update_or_create(
        owner=current_user(request), page=page, name=name, defaults={"query": query}
    )
    messages.success(request, f"“{name}” is saved.")
    return redirect(back)


def view_address(page: str) -> str:
    return reverse("clients:list" if page == SavedView.Page.LOOK_UP else "today")


@require_POST
def remove_view(request: HttpRequest, pk: int) -> HttpResponse:
    owner: User = current_user(request)
    view = get_object_or_404(SavedView, pk=pk, owner=owner)
    view.delete()
    messages.success(request, f"“{view.name}” is removed.")
    return redirect(view_address(view.page))


@office_required
@require_GET
def redirect_to_today(request: HttpRequest, query: str) -> HttpResponse:
    """Where the inbox and the plan of reminders stood before."""
    return redirect(f"{reverse('today')}?{query}")
