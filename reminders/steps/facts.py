"""What the planning has to know about many coats and clients:
each question one query, whatever their number."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Q

from clients.messaging.models import Message, SendingRules
from clients.messaging.models.message import State
from clients.models import Surface
from jobs.models import Booking, OfferScope
from reminders.models import Forecast, ForecastQuerySet, PacedDeck, Reminder, ReminderStep, Stop
from reminders.steps.sequence import ForecastWindow, PacedWeek, SentReminder

ANCHOR_COLUMNS = {"opens": "window_opens_on", "late": "late_on"}


def is_anchored_before(anchor: str, day: date) -> Q:
    """Whether the day that a step is counted from lies before that day. Where the boards lead it
    is theirs, though the deck may be due a little before them."""
    if anchor != ReminderStep.Anchor.DUE:
        return Q(**{f"{ANCHOR_COLUMNS[anchor]}__lt": day})
    is_late_enough = ~Q(surface=Surface.BOARDS) | Q(boards_due_on__lt=day)
    return Q(due_on__lt=day) & is_late_enough


class CoatRow(NamedTuple):
    """The coat of a deck that a word may be due about, with its deck, place and client."""

    deck_id: int
    job_id: int
    label: str
    deck_archived_at: datetime | None
    site_id: int
    client_id: int
    client: str
    client_archived_at: datetime | None
    preferred: str
    language: str
    opens_on: date
    due_on: date
    surface: str
    boards_due_on: date | None
    late_on: date
    zone: str
    country: str
    region: str
    town: str
    coated_on: date

    @property
    def window(self) -> ForecastWindow:
        """With the day that steps are counted from."""
        is_of_boards = self.surface == Surface.BOARDS and self.boards_due_on
        due_on = self.boards_due_on if is_of_boards else self.due_on
        return ForecastWindow(self.opens_on, due_on or self.due_on, self.late_on)

    @property
    def is_archived(self) -> bool:
        return bool(self.deck_archived_at or self.client_archived_at)


COAT_COLUMNS = (
    "deck_id",
    "job_id",
    "deck__label",
    "deck__archived_at",
    "deck__site_id",
    "deck__site__client_id",
    "deck__site__client__name",
    "deck__site__client__archived_at",
    "deck__site__client__preferred_channel",
    "deck__site__client__language",
    "window_opens_on",
    "due_on",
    "surface",
    "boards_due_on",
    "late_on",
    "deck__site__time_zone",
    "deck__site__country",
    "deck__site__region",
    "deck__site__town",
    "job__finished_on",
)


class OfferedDeck(NamedTuple):
    """An offer about a deck that was sent or accepted."""

    state: str
    number: int
    valid_until: date
    answered_on: date | None


def coats_due_before(until: date, steps: Sequence[ReminderStep]) -> ForecastQuerySet:
    """Coats of the whole book about which a word may be due before that day:
    by a step or by the pacing plan."""
    reached = Q(job__paced__week__lt=until)
    for step in steps:
        if step.is_on:
            reached |= is_anchored_before(step.anchor, until - timedelta(days=step.offset_days))
    return Forecast.objects.current().filter(reached)


def coats_on_decks(deck_ids: Any) -> ForecastQuerySet:
    """The coats on chosen decks, archived ones too, so that the reason can be told."""
    return Forecast.objects.filter(deck__in=deck_ids)


class ReminderFacts:
    """What is known about the coats of a query;
    questions that nobody asks are not asked of the database."""

    def __init__(
        self,
        rows: ForecastQuerySet,
        *,
        now: datetime,
        zone: ZoneInfo,
        without: Collection[str] = (),
    ) -> None:
        """`without` names facts below of which the caller knows that there are none."""
        self.rows = rows.order_by()
        vars(self).update({name: {} for name in without})
        self.assumed_unsent: set[int] = set()  # messages that a person takes for not gone out
        self.now = now
        self.zone = zone

    @cached_property
    def rules(self) -> SendingRules:
        return SendingRules.current()

    def coats(self) -> Iterator[CoatRow]:
        """Client by client, so that the decks of one come together."""
        columns = self.rows.order_by("deck__site__client_id", "due_on", "deck_id").values_list(
            *COAT_COLUMNS
        )
        return map(CoatRow._make, columns)

    def day(self, moment: datetime) -> date:
        """The date at the business."""
        return moment.astimezone(self.zone).date()

    @cached_property
    def sent(self) -> dict[int, list[SentReminder]]:
        """Job → the reminders about its coat."""
        columns = (
            "job_id",
            "step",
            "channel",
            "message__state",
            "message__accepted_at",
            "message__not_before",
            "message_id",
            "pk",
        )
        found: dict[int, list[SentReminder]] = defaultdict(list)
        existing = Reminder.objects.filter(job__in=self.rows.values("job_id")).order_by()
        for (
            job,
            step,
            channel,
            known_state,
            accepted_at,
            not_before,
            message,
            pk,
        ) in existing.values_list(*columns):
            state = State.FAILED if message in self.assumed_unsent else known_state
            found[job].append(
                SentReminder(step, channel, state, self.day(accepted_at or not_before), message, pk)
            )
        return found

    @cached_property
    def stops(self) -> dict[int, Stop]:
        """Job → the stop on its coat."""
        return {
            stop.job_id: stop for stop in Stop.objects.filter(job__in=self.rows.values("job_id"))
        }

    @cached_property
    def booked(self) -> dict[int, date]:
        """Deck → first day of its newest visit that is booked and not done."""
        living = Booking.objects.filter(
            state__in=["booked", "held"], decks__in=self.rows.values("deck_id")
        )
        return dict(living.order_by("first_on").values_list("decks", "first_on"))

    @cached_property
    def offered(self) -> dict[int, list[OfferedDeck]]:
        """Deck → offers about it that were sent or accepted."""
        found: dict[int, list[OfferedDeck]] = defaultdict(list)
        scopes = OfferScope.objects.filter(
            offer__state__in=["open", "accepted"], deck__in=self.rows.values("deck_id")
        )
        columns = (
            "deck_id",
            "offer__state",
            "offer__number",
            "offer__valid_until",
            "offer__answered_at",
        )
        for deck, state, number, valid_until, answered_at in scopes.order_by().values_list(
            *columns
        ):
            on = self.day(answered_at) if answered_at else None
            found[deck].append(OfferedDeck(state, number, valid_until, on))
        return found

    @cached_property
    def paced_weeks(self) -> dict[int, PacedWeek]:
        """Job → its place in the pacing plan."""
        in_force = Q(until=None) | Q(until__gte=self.day(self.now))
        planned = PacedDeck.objects.filter(in_force, job__in=self.rows.values("job_id")).order_by()
        return {
            job: PacedWeek(week, until)
            for job, week, until in planned.values_list("job_id", "week", "until")
        }

    @cached_property
    def contact_days(self) -> dict[int, list[date]]:
        """Client → days of reminders and offers that went or will go, as far as the caps look
        back."""
        reach = timedelta(days=max(self.rules.most_days, self.rules.days_between) + 1)
        rows = Message.objects.filter(client__in=self.clients)
        sent = rows.marketing_since(self.now - reach).order_by()
        found: dict[int, list[date]] = defaultdict(list)
        for client, moment in sent.values_list("client_id", "when"):  # type: ignore[misc] # annotated by marketing_since
            found[client].append(self.day(moment))
        return found

    @property
    def clients(self) -> Any:
        """The clients' numbers as a subquery."""
        return self.rows.values("deck__site__client_id")
