"""The deck page: what it is, when its finish is due and why, and everything that ever happened on
it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.db.models.functions import JSONObject
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.messaging.reach import ContactPointRow, Reach
from clients.models import Deck, Surface
from clients.pages import business_of, business_today
from jobs.models import (
    STRIP_ABOVE_COATS,
    Booking,
    ColourApproval,
    Defect,
    Document,
    Job,
    Offer,
    OfferScope,
    Photo,
    StructureCheck,
)
from jobs.scope import read_outline_facts
from reminders.forecasting import (
    deck_upkeep,
    factors_with_months,
    forecast_wear_curve,
    missing_phrases,
    read_newest_coats,
    signed_months,
)
from reminders.forms.steps import StopForm
from reminders.models import Forecast, PacedDeck, Reminder, Stop, say_due
from reminders.pictures import coat_layers
from reminders.steps import deck_reminder_state
from reminders.timeline import deck_timeline, with_history

MAX_OFFERS = 8


@require_GET
def show_deck(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `decks:detail`."""
    decks = with_what_there_is(Deck.objects.with_owner().select_related("forecast__job"))
    deck = get_object_or_404(with_history(decks), pk=pk)
    there: Mapping[str, bool] = deck.there  # type: ignore[attr-defined] # annotated
    forecast: Forecast | None = getattr(deck, "forecast", None)
    if forecast:
        forecast.job.deck = deck
    today = business_today(request)
    surfaces = deck_surfaces(deck, forecast, today)
    business = business_of(request)
    contacts = Reach.of(deck.site.client, business=business)
    coats = read_newest_coats([deck.pk], today=today) if forecast else None
    is_of_boards = forecast is not None and forecast.surface == Surface.BOARDS
    led_by = coats if is_of_boards else None  # the curve reads what it tells of itself
    work = read_outline_facts([deck.pk])
    context = {
        "deck": deck,
        "contact_points": contact_points(contacts),
        "forecast": forecast,
        "surfaces": surfaces,
        "stage": window_stage(forecast, today) if forecast else None,
        "reasons": factors_with_months(forecast.contributions) if forecast else [],
        "missing": missing_things(forecast) if forecast else [],
        "curve": forecast_wear_curve(forecast, today=today, coats=led_by) if forecast else None,
        "upkeep": (
            deck_upkeep(forecast, today=today, business=business, coats=coats, work=work)
            if forecast
            else None
        ),
        "build": work.build(deck.pk),
        "layers": coat_layers(work.build(deck.pk).coats, STRIP_ABOVE_COATS),
        "defects": there["checks"] and Defect.objects.open_by_deck([deck.pk]).get(deck.pk),
        "approval": there["approvals"] and deck.colour_approvals.first(),
        "structure": there["checks"] and deck.structure_checks.first(),
        "advice": work.advice({deck.pk: forecast.advice(today)} if forecast else {})[deck.pk],
        "years": deck_timeline(deck, has_loose_photos=there["loose_photos"]),
        "documents": there["documents"] and deck.documents.all(),
        "reminding": (
            deck_reminder_state(
                forecast,
                contacts,
                now=timezone.now(),
                without=[name for name in REMINDER_FACTS if not there[name]],
            )
            if forecast
            else None
        ),
        "stop_form": StopForm(),
        "offers": there["offered"] and newest_offers(deck),
        "today": today,
        "neighbours": there["neighbours"]
        and deck.site.decks.exclude(pk=deck.pk).only("label", "site"),
    }
    return render(request, "reminders/deck.html", context)


# What the page shows of most decks nothing of: it is asked for where it is there.
REMINDER_FACTS = ("sent", "stops", "booked", "offered", "paced_weeks")


def with_what_there_is(decks: QuerySet[Deck]) -> QuerySet[Deck]:
    """With `there`: name → whether the deck has any of it, in the same query."""
    return decks.annotate(there=what_there_is())


@cache
def what_there_is() -> JSONObject:
    deck = OuterRef("pk")
    rows: dict[str, QuerySet[Any]] = {
        "sent": Reminder.objects.filter(deck=deck),
        "stops": Stop.objects.filter(deck=deck),
        "booked": Booking.objects.filter(decks=deck),
        "offered": OfferScope.objects.filter(deck=deck),
        "paced_weeks": PacedDeck.objects.filter(deck=deck),
        "checks": StructureCheck.objects.filter(deck=deck),
        "approvals": ColourApproval.objects.filter(deck=deck),
        "documents": Document.objects.filter(deck=deck),
        "loose_photos": Photo.objects.filter(deck=deck, job=None),
        "neighbours": Deck.objects.filter(site=OuterRef("site")).exclude(pk=deck),
    }
    return JSONObject(**{name: Exists(each) for name, each in rows.items()})


def newest_offers(deck: Deck) -> QuerySet[Offer]:
    return Offer.objects.for_decks([deck.pk]).order_by("-number", "-revision")[:MAX_OFFERS]


def contact_points(contacts: Reach) -> list[ContactPointRow]:
    """The ways to reach the client that are in use, the preferred ones first."""
    known = [point for points in contacts.points.values() for point in points]
    return sorted(
        (point for point in known if not point.suspended_at), key=lambda point: point.rank
    )


@dataclass(frozen=True)
class SurfaceLine:
    """One surface of the deck: its last coat, if the book has one, and when it is due; without a
    day of its own it goes with the boards."""

    name: str
    job: Job | None = None
    due: str = ""


def deck_surfaces(deck: Deck, forecast: Forecast | None, today: date) -> list[SurfaceLine]:
    """Those of a deck that has more than boards; none where it has not."""
    if len(deck.surfaces) == 1:
        return []
    own = {row.surface: row for row in deck.surface_forecasts.all()}
    jobs = {job.pk: job for job in deck.jobs.all()}
    found = []
    for name in deck.surfaces:
        row = own.get(name)
        job = jobs[row.job_id] if row else newest_job_on(name, deck)
        due = say_due(row.due_on, row.window_opens_on, today) if row else ""
        if name == Surface.BOARDS and forecast and forecast.boards_due_on:
            opens_on = forecast.window_opens_on
            is_leading = forecast.surface == Surface.BOARDS
            day = forecast.boards_due_on
            due = say_due(day, opens_on if is_leading else day, today)
        found.append(SurfaceLine(str(Surface(name).label), job, due or without_day(name)))
    return found


def without_day(name: str) -> str:
    return "not known" if name == Surface.BOARDS else "with the boards"


def newest_job_on(surface: str, deck: Deck) -> Job | None:
    """The last strip or recoat whose finish took this surface along, of those read for the
    timeline, the newest first."""
    jobs = (job for job in deck.jobs.all() if job.starts_a_coat)
    return next((job for job in jobs if surface in job.finished_surfaces), None)


def missing_things(forecast: Forecast) -> list[tuple[str, str]]:
    """What is not known of the coat and the page to say it; what narrows the window most first."""
    deck_page = reverse("deck_forms:edit", args=[forecast.deck_id])
    job_page = reverse("jobs:edit", args=[forecast.job_id])
    pages = {"species": deck_page, "shade": deck_page}
    phrases = missing_phrases(forecast.unknowns, forecast.job.span.precision)
    names = sorted(forecast.unknowns, key=lambda name: -forecast.unknowns[name])
    return [
        (missing_words(words, months), pages.get(name, job_page))
        for name, (words, months) in zip(names, phrases, strict=True)
    ]


def missing_words(phrase: str, months: float) -> str:
    gain = f"; knowing it takes {signed_months(months)[1:]} off the window" if months >= 0.5 else ""
    return f"{phrase[:1].upper()}{phrase[1:]}{gain}"


def window_stage(forecast: Forecast, today: date) -> tuple[str, str]:
    """Where today stands in the window: a word and the class of its chip."""
    if today < forecast.due_on:
        is_sound = today < forecast.window_opens_on
        return ("Sound", "is-sound") if is_sound else ("Window open", "is-open")
    return ("Due", "is-due") if today < forecast.late_on else ("Late", "is-late")
