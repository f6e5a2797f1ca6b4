"""What the client sees of an offer: the same facts for the public page and for the PDF."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property

from babel import Locale
from babel.dates import format_interval
from django.conf import settings
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clients import display
from clients.messaging.law import ContractPlace, WithdrawalRight, withdrawal_right
from clients.models import Property, say_surfaces
from clients.notation import supported_language
from jobs import diary
from jobs.forecast_summary import ForecastSummary, forecast_summary_by_deck
from jobs.models import Booking, Crew, Defect, Offer, OfferEvent, OfferLine, OfferScope, Photo
from jobs.offers.client_steps import client_steps
from jobs.offers.terms import OfferTerm, deposit_of_offer, prescribed_right, terms_of_offer

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
    today: date

    @property
    def has_steps(self) -> bool:
        """Offers of old have none."""
        return bool(self.scope.steps)

    @property
    def steps(self) -> list[str]:
        return client_steps(self.scope, coats_text(self.scope))

    @property
    def outlook_words(self) -> str:
        """What the forecast says, in a sentence; nothing where the old finish comes off anyway."""
        told = self.forecast
        if told is None or self.scope.work == OfferScope.Work.STRIP:
            return ""
        coat, due = display.format_month(told.coat_on), display.format_month(told.due_on)
        if told.late_on < self.today:
            words = _("The finish of {coat} was due in {due}; by now it is very probably worn.")
        else:
            words = _("By our forecast the finish of {coat} is ready for its next coat in {due}.")
        return words.format(coat=coat, due=due)

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
        if not scope.is_on_boards:
            words = (
                _("{surfaces}: a clean, then {coats}.")
                if scope.work == OfferScope.Work.RECOAT
                else _("{surfaces}: the old finish comes off, then {coats}.")
            )
            return words.format(surfaces=say_surfaces(scope.surfaces), coats=coats_text(scope))
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
class PriceGroup:
    """One line of what an offer costs in short."""

    words: str
    amount: Decimal


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

    @cached_property
    def right_to_withdraw(self) -> WithdrawalRight | None:
        """Of a consumer who accepts it here today, or did; None where the law gives none."""
        return offer_withdrawal_right(self.offer, today=self.today)

    @cached_property
    def statement(self) -> OfferTerm | None:
        """The right to cancel in the words of the province of the business, for its clients there;
        None where ours stand."""
        right = self.right_to_withdraw
        business = display.current_business()
        own = ContractPlace(business.country, business.region).region_code
        if right is None or not right.is_cancellation or not own:
            return None
        is_there = own in {place.region_code for place in contract_places(self.offer)}
        return prescribed_right(self.offer) if is_there else None

    @property
    def is_distance_contract(self) -> bool:
        """Whether the button has to say that ordering obliges to pay (Directive 2011/83/EU,
        Art. 8(2))."""
        right = self.right_to_withdraw
        return right is not None and not right.is_cancellation

    @property
    def may_be_rescinded_until(self) -> date | None:
        """Of an accepted offer: the last day of the client's right; None without one."""
        right = self.right_to_withdraw
        if right is None or self.offer.state != State.ACCEPTED or not self.offer.answered_at:
            return None
        last = right.last_day(display.current_business().today(self.offer.answered_at))
        return last if self.today <= last else None

    @property
    def is_rescinded(self) -> bool:
        """Whether the client accepted it and then withdrew from the contract."""
        return self.offer.state == State.DECLINED and any(
            event.kind == Event.RESCINDED for event in self.offer.events.all()
        )

    @property
    def is_tax_inclusive(self) -> bool:
        return self.offer.tax_mode == self.offer.price_list.TaxMode.INCLUSIVE

    @cached_property
    def common_steps(self) -> list[str]:
        """The steps of several decks, where they are the same on each, to be said once."""
        told = [part.steps if part.has_steps else [] for part in self.decks]
        return told[0] if len(told) > 1 and all(steps == told[0] for steps in told) else []

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

    @cached_property
    def agreed_sums(self) -> list[PriceGroup]:
        """The offer, each change of it that was accepted, and this one: what the work comes to.
        Nothing for an offer without changes."""
        if not self.offer.original and self.offer.state != State.ACCEPTED:
            return []
        first = self.offer.original or self.offer
        changes = list(Offer.objects.accepted_changes(first).select_related("original"))
        if self.offer.original and self.offer not in changes:
            changes.append(self.offer)
        rows = [first, *changes] if changes else []
        return [PriceGroup(row.title, row.total) for row in rows]

    @property
    def agreed_total(self) -> Decimal:
        return sum((group.amount for group in self.agreed_sums), Decimal(0))

    @cached_property
    def terms(self) -> list[OfferTerm]:
        """What stands beside the price."""
        return terms_of_offer(self.offer)

    @property
    def deposit(self) -> Decimal:
        return deposit_of_offer(self.offer)

    @property
    def total_words(self) -> str:
        """What the last sum is called: nobody has to pay before they have agreed."""
        if self.offer.state == State.ACCEPTED:
            return _("To pay")
        return _("Total, tax included") if self.offer.tax else _("Total")

    @property
    def groups(self) -> list[PriceGroup]:
        """What it costs in few lines: work and materials of each deck, then what is for the visit,
        each in its own words."""
        found: dict[tuple[str, str], Decimal] = {}
        several = len(self.decks) > 1
        parts = [(part.scope.deck.label if several else "", part.lines) for part in self.decks]
        own = [line for line in self.other_lines if line.kind != "work"]
        visit = [line for line in self.other_lines if line.kind == "work"]
        for name, lines in [*parts, (_("for the visit") if several else "", visit), ("", own)]:
            for line in lines:
                key = (name, self.group_words(line))
                found[key] = found.get(key, Decimal(0)) + line.amount
        return [
            PriceGroup(_("{group}, {deck}").format(group=words, deck=name) if name else words, sum_)
            for (name, words), sum_ in found.items()
        ]

    def group_words(self, line: OfferLine) -> str:
        """Work and materials together; travel, surcharges and reductions as they are worded."""
        if self.offer.original:
            return line.words  # a change is small, and what changes is the point of it
        if line.kind == line.Kind.WORK:
            return _("Work")
        return _("Materials") if line.kind == line.Kind.MATERIAL else line.words

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
        """What waiting is expected to cost, as it was forecast for this offer; empty where nothing
        was. It is what waiting adds that was forecast: somebody may have changed the offer since.
        """
        after = self.offer.waiting.get("after", [])
        return [
            WaitingCost(
                each["months"],
                each["strip_chance"],
                self.offer.total + Decimal(each["expected_cost"]) - self.forecast_from,
            )
            for each in after
        ]

    @property
    def waiting_words(self) -> str:
        """What the last of them says, in a sentence for paper; none where it adds nothing."""
        last = self.waiting_costs[-1] if self.waiting_costs else None
        if last is None or last.cost <= self.offer.total or round(last.strip_chance * 100) == 0:
            return ""
        return _(
            "In {months} months the same work is likely to cost about {cost}: by then there is a"
            " chance of {chance} that only a strip will do. It is a forecast, not a promise."
        ).format(
            months=last.months,
            cost=display.format_money(last.cost, self.offer.currency),
            chance=f"{round(last.strip_chance * 100)} %",
        )

    @property
    def is_unanswered(self) -> bool:
        return self.offer.state in {State.DRAFT, State.OPEN}

    @property
    def forecast_from(self) -> Decimal:
        """The sum to which waiting adds; offers of old compared the decks alone."""
        waiting = self.offer.waiting
        return Decimal(waiting["now"] if "now" in waiting else waiting["recoat"])

    @cached_property
    def defects(self) -> list[Defect]:
        """What is open on the structure of its decks."""
        decks = [part.scope.deck_id for part in self.decks]
        return list(Defect.objects.open_on(decks))

    @property
    def questions_and_answers(self) -> list[OfferEvent]:
        """Questions and answers, oldest first."""
        return [
            event
            for event in self.offer.events.all()
            if event.kind in {Event.ASKED, Event.ANSWERED}
        ]


def offer_withdrawal_right(offer: Offer, *, today: date) -> WithdrawalRight | None:
    return withdrawal_right(contract_places(offer), on=today)


def contract_places(offer: Offer) -> set[ContractPlace]:
    """Where the property is, and where the client's letters go."""
    site, client = offer.site, offer.client
    return {
        ContractPlace(site.country, site.region),
        ContractPlace(client.postal_country, client.postal_region),
    }


def coats_text(scope: OfferScope) -> str:
    """“2 coats of Tidewood Deck Oil, colour Driftwood, the same as on the deck now”."""
    coats = ngettext("{count} coat", "{count} coats", scope.coats).format(count=scope.coats)
    if scope.product is None:
        return coats
    said = [_("{coats} of {product}").format(coats=coats, product=scope.product.name)]
    if scope.colour and scope.colour in scope.why and scope.product.name in scope.why:
        return said[0]  # the reason above names it, and that it is that of last time
    said += [_("colour {colour}").format(colour=scope.colour)] if scope.colour else []
    said += [_("the same as on the deck now")] if scope.same_as_last else []
    return ", ".join(said)


def offer_by_token_hash(token_hash: str) -> Offer | None:
    """The offer behind a link, with everything its page shows; a draft has no page."""
    found = with_page_data(Offer.objects.filter(token_hash=token_hash).exclude(state=State.DRAFT))
    return found.first()


def with_page_data(offers: QuerySet[Offer]) -> QuerySet[Offer]:
    """In a fixed number of queries."""
    related = offers.select_related("client", "site", "price_list", "original")
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
            told.get(scope.deck_id) if scope.is_on_boards else None,
            today,
        )
        for scope in scopes
    ]
    return OfferPage(offer, today, parts, [line for line in lines if line.scope_id is None])


def newest_photo_by_deck(deck_ids: Collection[int]) -> dict[int, Photo]:
    """The newest photograph of each deck, in one query."""
    rows = (
        Photo.objects.filter(deck__in=deck_ids, defect=None)
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
