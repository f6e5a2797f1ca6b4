"""What the client sees of an offer: the same facts for the public page and for the PDF."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from babel import Locale
from babel.dates import format_interval
from django.conf import settings
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients import display
from clients.languages import supported_language
from clients.models import Property
from jobs import diary
from jobs.forecast_summary import ForecastSummary, forecast_summary_by_deck
from jobs.models import Booking, Crew, Offer, OfferEvent, OfferLine, OfferScope, Photo

Event = OfferEvent.Kind
State = Offer.State
EXPIRED = "expired"
NOTICE_DAYS = 3  # before the week that a client chooses by themselves begins (a judgement)
DEAD_LINK_STATES = {
    EXPIRED,
    State.WITHDRAWN,
    State.REPLACED,
}  # the link leads to nothing that could still be agreed


@dataclass(frozen=True)
class OfferPageDeck:
    """One deck of an offer: what is to be done on it, its lines, its newest photograph and its
    forecast."""

    scope: OfferScope
    lines: list[OfferLine]
    photo: Photo | None
    forecast: ForecastSummary | None

    @property
    def heading(self) -> str:
        """“Back deck: clean and recoat”; where a look decides it says so."""
        if self.scope.looks_first:
            return _("{deck}: look first, then clean and recoat if that still does").format(
                deck=self.scope.deck.label
            )
        return _("{deck}: {work}").format(
            deck=self.scope.deck.label, work=self.scope.get_work_display().lower()
        )

    @property
    def finish(self) -> str:
        """“We clean the boards and seal them with 2 coats of Tidewood Deck Oil, colour
        Driftwood.”"""
        scope = self.scope
        if scope.work == OfferScope.Work.RECOAT:
            words = _("We clean the boards and seal them with {coats}.")
        elif scope.stripper_applications < 2:
            words = _(
                "We take the old finish off, brighten and sand the boards, and seal them with"
                " {coats}."
            )
        else:
            words = _(
                "We take the old finish off with {applications} applications of stripper, brighten"
                " and sand the boards, and seal them with {coats}."
            )
        return words.format(coats=coats_text(scope), applications=scope.stripper_applications)


@dataclass(frozen=True)
class WaitingCost:
    """What the work is expected to cost after so many months, and the chance that only a strip will
    do by then."""

    months: int
    strip_chance: float
    cost: Decimal


@dataclass(frozen=True)
class OfferPage:
    """An offer as it is shown, on the day `today` at the business."""

    offer: Offer
    today: date
    decks: list[OfferPageDeck]
    other_lines: list[OfferLine]

    @property
    def state(self) -> str:
        """The state as the client understands it: one that ran out is no longer open."""
        return EXPIRED if self.offer.is_expired(today=self.today) else str(self.offer.state)

    @property
    def is_open(self) -> bool:
        return self.state == State.OPEN

    @property
    def is_tax_inclusive(self) -> bool:
        return self.offer.tax_mode == self.offer.price_list.TaxMode.INCLUSIVE

    @property
    def sections(self) -> list[tuple[str, list[OfferLine]]]:
        """Lines under the name of their deck, if there are several decks;
        what belongs to no deck comes last."""
        if len(self.decks) < 2:
            lines = [line for part in self.decks for line in part.lines] + self.other_lines
            return [("", sorted(lines, key=lambda line: line.position))]
        named = [(part.scope.deck.label, part.lines) for part in self.decks]
        return [
            (name, lines)
            for name, lines in [*named, (_("For the visit"), self.other_lines)]
            if lines
        ]

    @property
    def foreign_language(self) -> str:
        """“French”, for staff, where the client reads another language than they do; else empty."""
        code = supported_language(self.offer.language, display.current_business().locale)
        return (
            ""
            if code == settings.LANGUAGE_CODE
            else str(Locale(code).get_display_name(settings.LANGUAGE_CODE))
        )

    @property
    def has_open_question(self) -> bool:
        """The last word is a question."""
        return (
            bool(self.questions_and_answers) and self.questions_and_answers[-1].kind == Event.ASKED
        )

    @property
    def is_bookable(self) -> bool:
        return is_offer_bookable(self.offer)

    @property
    def booking(self) -> Booking | None:
        return Booking.objects.filter(offer=self.offer).first()

    @property
    def accepted_week_text(self) -> str:
        """The week that was accepted."""
        return week_text(self.offer.accepted_week) if self.offer.accepted_week else ""

    @property
    def waiting_costs(self) -> list[WaitingCost]:
        """What this offer is expected to come to after a wait: what is to pay now, and what the
        wait was forecast to add to the decks; empty where nothing was forecast."""
        after = self.offer.waiting.get("after", [])
        return [
            WaitingCost(
                each["months"],
                each["strip_chance"],
                self.offer.total
                + Decimal(each["expected_cost"])
                - Decimal(self.offer.waiting["recoat"]),
            )
            for each in after
        ]

    @property
    def questions_and_answers(self) -> list[OfferEvent]:
        """Questions and answers, oldest first."""
        return [
            event
            for event in self.offer.events.all()
            if event.kind in {Event.ASKED, Event.ANSWERED}
        ]


def coats_text(scope: OfferScope) -> str:
    """“2 coats of Tidewood Deck Oil, colour Driftwood, the same as on the deck now”."""
    coats = ngettext("{count} coat", "{count} coats", scope.coats).format(count=scope.coats)
    if scope.product is None:
        return coats
    said = [_("{coats} of {product}").format(coats=coats, product=scope.product.name)]
    said += [_("colour {colour}").format(colour=scope.colour)] if scope.colour else []
    said += [_("the same as on the deck now")] if scope.same_as_last else []
    return ", ".join(said)


def offer_by_token_hash(token_hash: str) -> Offer | None:
    """The offer behind a link, with everything its page shows; a draft has no page."""
    found = with_page_data(Offer.objects.filter(token_hash=token_hash).exclude(state=State.DRAFT))
    return found.first()


def with_page_data(offers: QuerySet[Offer]) -> QuerySet[Offer]:
    """In a fixed number of queries."""
    related = offers.select_related("client", "site", "price_list")
    return related.prefetch_related(
        "scopes__deck__site", "scopes__product", "lines", "taxes", "events"
    )


def build_offer_page(offer: Offer, *, today: date) -> OfferPage:
    """Put together what is shown. The forecast is told only while it can still help to decide."""
    scopes = list(offer.scopes.all())
    decks = [scope.deck_id for scope in scopes]
    photos = newest_photo_by_deck(decks)
    told = (
        forecast_summary_by_deck(decks, today=today)
        if offer.state in {State.DRAFT, State.OPEN}
        else {}
    )
    lines = list(offer.lines.all())
    parts = [
        OfferPageDeck(
            scope,
            [line for line in lines if line.scope_id == scope.pk],
            photos.get(scope.deck_id),
            told.get(scope.deck_id),
        )
        for scope in scopes
    ]
    return OfferPage(offer, today, parts, [line for line in lines if line.scope_id is None])


def newest_photo_by_deck(deck_ids: Collection[int]) -> dict[int, Photo]:
    """The newest photograph of each deck, in one query."""
    rows = (
        Photo.objects.filter(deck__in=deck_ids)
        .order_by("deck_id", "-taken_on", "-id")
        .distinct("deck_id")
    )
    return {photo.deck_id: photo for photo in rows}


def is_offer_bookable(offer: Offer) -> bool:
    """Whether the program finds the day itself;
    without crews or hours in the book, a person does."""
    return offer.hours > 0 and Crew.objects.filter(is_active=True).exists()


def bookable_weeks(offer: Offer, *, today: date) -> list[date]:
    """Mondays of weeks with room for this work;
    where the program can find no day, of all weeks of the season."""
    return weeks_for_work(hours=offer.hours, site=offer.site, today=today)


def weeks_for_work(*, hours: Decimal, site: Property, today: date) -> list[date]:
    """The same for work that no offer is drafted for yet; 0 hours mean that nobody knows."""
    weeks = diary.week_capacities(hours=hours, site=site, today=today)
    is_bookable = hours > 0 and Crew.objects.filter(is_active=True).exists()
    chosen = [week for week in weeks if week.has_room] if is_bookable else weeks
    return [week.monday for week in chosen if (week.monday - today).days >= NOTICE_DAYS]


def week_text(monday: date) -> str:
    """“May 3 – 9, 2027”."""
    return format_interval(
        monday, monday + timedelta(days=6), "yMMMd", locale=display.current_locale()
    )
