"""What the client's page shows: what was done on the decks, what is under way, and what may be
pressed now. It reads, and writes nothing."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property

from django.db.models import Q
from django.utils.translation import gettext as _

from clients import display
from clients.messaging.asking import consent_wording
from clients.messaging.law import AGREED_BASES
from clients.messaging.reach import ContactPurpose, Reach, Route
from clients.models import Business, Channel, Client, Deck, Property, traits_of
from jobs.models import Booking, CoatApplied, Job, Offer, Photo
from jobs.offers import (
    WHOLE_DECK,
    due_parts,
    week_text,
    weeks_for_work,
    work_hours_by_deck,
)
from reminders.forecasting import client_check_worth
from reminders.models import CarePlan, ClientAnswer, ClientLink, Forecast, PlanVisit

MAX_JOBS = 5  # of a deck
MAX_PHOTOS = 4
Kind = ClientAnswer.Kind
DETAIL_LABELS = {
    "name": "Name",
    "email": "E-mail",
    "mobile": "Mobile phone",
    "phone": "Other phone",
    "street": "Street, for letters",
    "town": "Town",
    "region": "Province, state or region",
    "postcode": "Postal code",
    "words": "In their words",
}


@dataclass(frozen=True)
class DoneJob:
    """One job as the client reads it."""

    job: Job

    @property
    def finishes(self) -> list[CoatApplied]:
        return [coat for coat in self.job.coats_applied.all() if coat.is_finish]


@dataclass(frozen=True)
class ClientPageDeck:
    """One deck with its newest jobs and photographs."""

    deck: Deck
    jobs: Sequence[DoneJob]
    photos: Sequence[Photo]


@dataclass(frozen=True)
class ContactChoice:
    """One channel by which the client can be reached: to which address, in words that do not give
    it away, whether they allow it now, and since when they agreed to it, if they did."""

    channel: str
    label: str
    wording: str
    address: str
    is_allowed: bool
    agreed_on: date | None = None

    @property
    def shown(self) -> str:
        """The words of its box: they are also the client's copy of what they agreed to."""
        if self.agreed_on is None:
            return self.wording
        day = display.format_day(self.agreed_on)
        return _("{wording} I agreed on {day}.").format(wording=self.wording, day=day)


@dataclass
class ClientPage:
    """The page of one link on the day `today` at the business."""

    link: ClientLink
    business: Business
    today: date

    @property
    def client(self) -> Client:
        return self.link.message.client

    @cached_property
    def decks(self) -> list[Deck]:
        """The decks that the message was about, still looked after, and theirs."""
        rows = Deck.objects.with_owner().filter(pk__in=link_deck_ids(self.link))
        return list(rows.order_by("site_id", "pk"))

    @cached_property
    def deck_ids(self) -> list[int]:
        return [deck.pk for deck in self.decks]

    @cached_property
    def sites(self) -> list[Property]:
        return list({deck.site_id: deck.site for deck in self.decks}.values())

    @cached_property
    def answers(self) -> dict[str, ClientAnswer]:
        """The newest of each kind that was not taken back."""
        rows = ClientAnswer.objects.live().filter(link=self.link).order_by("at", "pk")
        return {answer.kind: answer for answer in rows}

    @cached_property
    def booking(self) -> Booking | None:
        """The next visit to these decks."""
        living = Booking.objects.filter(
            decks__in=self.deck_ids,
            state__in=[Booking.State.BOOKED, Booking.State.HELD],
            last_on__gte=self.today,
        )
        return living.order_by("first_on", "pk").first()

    @cached_property
    def offer(self) -> Offer | None:
        """An offer that the client has and may still accept."""
        sent = Offer.objects.active(today=self.today).filter(state=Offer.State.OPEN)
        return sent.for_decks(self.deck_ids).order_by("-number").first()

    @cached_property
    def plan(self) -> CarePlan | None:
        """The newest care plan for these decks that runs, or that the client ended today."""
        mine = CarePlan.objects.filter(site__in=[site.pk for site in self.sites])
        shown = Q(ended_on=None) | Q(ended_on=self.today, ended_by=CarePlan.EndedBy.CLIENT)
        return mine.filter(shown).order_by("-pk").first()

    @property
    def has_running_plan(self) -> bool:
        return self.plan is not None and self.plan.ended_on is None

    @cached_property
    def plan_visit(self) -> PlanVisit | None:
        """The newest visit by that plan, refused or not."""
        rows = self.plan.visits.select_related("booking") if self.plan else PlanVisit.objects.none()
        return rows.order_by("-pk").first()

    @property
    def may_refuse_visit(self) -> bool:
        visit = self.plan_visit
        rows = PlanVisit.objects.refusable(self.today)
        return visit is not None and rows.filter(pk=visit.pk).exists()

    @property
    def plan_price(self) -> Decimal | None:
        """Of a visit today."""
        return self.plan.price_on_day(self.today) if self.plan else None

    @property
    def wanted_week_text(self) -> str:
        """The week that was asked for."""
        week = self.answers[Kind.OFFER].given.get("week")
        return week_text(date.fromisoformat(week)) if week else ""

    @property
    def quiet_until(self) -> date:
        """The last day without reminders after “not this year”."""
        return date.fromisoformat(self.answers[Kind.NOT_NOW].given["until"])

    @cached_property
    def decks_to_check(self) -> list[Deck]:
        """Those of which the client's own look would change what to do."""
        if self.booking or Kind.SOLD in self.answers:
            return []
        worth = client_check_worth(self.deck_ids, today=self.today)
        return [deck for deck in self.decks if deck.pk in worth and deck.pk not in self.looked_at]

    @cached_property
    def looked_at(self) -> dict[int, ClientAnswer]:
        """Deck → what the client told of it by this link."""
        rows = ClientAnswer.objects.live().filter(link=self.link, kind=Kind.CHECK)
        return {answer.given["deck"]: answer for answer in rows.order_by("at", "pk")}

    @property
    def looks(self) -> list[tuple[Deck, ClientAnswer, date | None]]:
        """Deck, answer, and when the deck is due as is known now."""
        due = dict(
            Forecast.objects.filter(deck__in=self.looked_at).values_list("deck_id", "due_on")
        )
        return [
            (deck, self.looked_at[deck.pk], due.get(deck.pk))
            for deck in self.decks
            if deck.pk in self.looked_at
        ]

    @property
    def may_ask(self) -> bool:
        """Whether a week or a price can be asked for now; a care plan books by itself."""
        is_under_way = self.booking or self.offer or Kind.OFFER in self.answers
        return bool(self.decks) and not (is_under_way or self.has_running_plan)

    @cached_property
    def weeks(self) -> list[date]:
        """Mondays of weeks with room for the work on the decks of the first property."""
        if not self.may_ask:
            return []
        return weeks_for_work(hours=self.hours, site=self.sites[0], today=self.today)

    @property
    def hours(self) -> Decimal:
        here = [deck.pk for deck in self.decks if deck.site_id == self.sites[0].pk]
        found = work_hours_by_deck(here, today=self.today)
        if not found:
            return Decimal(0)
        parts = due_parts(here, today=self.today)
        due = [hours.of_part(parts.get(deck, WHOLE_DECK)) for deck, hours in found.items()]
        own = sum(each.strip if each.is_strip else each.recoat for each in due)
        visit = max(each.visit for each in found.values())
        return Decimal(str(round(own + visit, 2)))

    @cached_property
    def shown_decks(self) -> list[ClientPageDeck]:
        """All decks of the client that are still looked after, in a fixed number of queries."""
        rows = Deck.objects.filter(site__client=self.client, archived_at=None)
        decks = list(rows.select_related("site").order_by("site_id", "pk"))
        jobs: dict[int, list[DoneJob]] = defaultdict(list)
        done = Job.objects.filter(deck__in=decks).select_related("deck__site")
        for job in done.with_coats().newest_first():
            jobs[job.deck_id].append(DoneJob(job))
        photos: dict[int, list[Photo]] = defaultdict(list)
        for photo in Photo.objects.filter(deck__in=decks).order_by("-taken_on", "-id"):
            photos[photo.deck_id].append(photo)
        return [
            ClientPageDeck(deck, jobs[deck.pk][:MAX_JOBS], photos[deck.pk][:MAX_PHOTOS])
            for deck in decks
        ]


def link_deck_ids(link: ClientLink) -> list[int]:
    """The decks that the message was about, that are still looked after and still theirs."""
    about = Q(reminders__message=link.message_id) | Q(bookings__plan_visit__message=link.message_id)
    rows = Deck.objects.filter(about, site__client=link.message.client_id, archived_at=None)
    return list(rows.order_by("pk").values_list("pk", flat=True).distinct())


def build_client_page(link: ClientLink, business: Business, *, today: date) -> ClientPage:
    return ClientPage(link, business, today)


def page_photo_by_id(page: ClientPage, pk: int) -> Photo | None:
    """A photograph that the page shows; no other."""
    shown = [photo for each in page.shown_decks for photo in each.photos]
    return next((photo for photo in shown if photo.pk == pk), None)


def contact_choices(client: Client, business: Business, *, today: date) -> list[ContactChoice]:
    """Each channel that has an address, with the words that a tick agrees to."""
    contacts = Reach.of(client, business=business)
    return [
        contact_choice(contacts, client, channel, address, today)
        for channel in Channel
        if (address := contacts.address(client.pk, channel))
    ]


def contact_choice(
    contacts: Reach, client: Client, channel: Channel, address: str, today: date
) -> ContactChoice:
    traits = traits_of(channel)
    shown = masked_address(address, traits.is_by_mailbox, traits.is_by_number)
    wording = consent_wording(contacts.business, channel, shown)
    entry = contacts.consents.get((client.pk, channel))
    is_suppressed = contacts.is_suppressed(channel, address)
    route = contacts.route(client.pk, channel, ContactPurpose.MARKETING, on=today)
    is_allowed = isinstance(route, Route) or bool(entry and entry.is_given)
    is_allowed = is_allowed and not is_suppressed
    has_agreed = bool(is_allowed and entry and entry.is_given and entry.basis in AGREED_BASES)
    agreed_on = contacts.business.today(entry.recorded_at) if has_agreed and entry else None
    label = str(traits.consent_label)
    return ContactChoice(channel, label, wording, address, is_allowed, agreed_on)


def masked_address(address: str, is_mailbox: bool, is_number: bool) -> str:
    """Enough to know it again: who holds a letter need not be the one it was written to."""
    if is_mailbox:
        local, _, domain = address.rpartition("@")
        return f"{local[:1]}…@{domain}"
    return f"… {address[-4:]}" if is_number else address


def compare_details(answer: ClientAnswer) -> list[tuple[str, str, str]]:
    """What the client wrote, beside what is on file: name of the detail, now, and as written."""
    client = answer.link.message.client
    points = {point.kind: point.value for point in reversed(client.contact_points.all())}
    now = {
        "name": client.name,
        "street": client.postal_street,
        "town": client.postal_town,
        "region": client.postal_region,
        "postcode": client.postal_postcode,
        **points,
    }
    return [(DETAIL_LABELS[name], now.get(name, ""), value) for name, value in answer.given.items()]
