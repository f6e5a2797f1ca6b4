"""Stored forecasts, the fits they rest on, and the reminders that were decided on."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.contrib.postgres.expressions import ArraySubquery
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import (
    Count,
    Exists,
    ExpressionWrapper,
    F,
    FloatField,
    Func,
    IntegerField,
    Min,
    OuterRef,
    Q,
    Sum,
    Value,
)
from django.db.models.functions import JSONObject, Now, TruncMonth

from clients import display
from clients.messaging.models import Message, MessageText
from clients.models import Channel, Deck, Property, Surface
from jobs.forecast_summary import WorkAdvice
from jobs.models import Booking, Job
from reminders.months import shift_months
from reminders.price_rule import price_on


class DaysPast(Func):
    """How many days the first date is past the second, at least none."""

    arg_joiner = " - "
    template = "greatest(%(expressions)s, 0)"
    output_field = IntegerField()


# From here on nobody knows the month of a day that is due (judgement).
FAR = timedelta(days=5 * 365)

# how many decks, their area, and how many of them have none in the book
COUNT_AND_AREA = {
    "decks": Count("*"),
    "area_m2": Sum("deck__area_m2"),
    "unsized": Count("deck", filter=Q(deck__area_m2=None)),
}


class ForecastQuerySet(models.QuerySet["Forecast"]):
    def current(self) -> "ForecastQuerySet":
        """Of decks that are neither archived nor a former client's; by the few that are, so that
        counting the rest joins nothing."""
        archived = Deck.objects.exclude(archived_at=None).order_by()
        left = Deck.objects.filter(site__client__archived_at__isnull=False).order_by()
        return self.exclude(deck__in=archived.values("pk")).exclude(deck__in=left.values("pk"))

    def due_in(self, month: date) -> "ForecastQuerySet":
        """Due in that month; a day so far off that nobody knows its month is in none."""
        return self.foreseeable().filter(due_on__gte=month, due_on__lt=shift_months(month, 1))

    def foreseeable(self) -> "ForecastQuerySet":
        """Without those that are `is_far`."""
        return self.filter(due_on__lte=F("computed_on") + Value(FAR))

    def due_before(self, month: date) -> "ForecastQuerySet":
        """Due earlier; no coat has gone on since, or the forecast would be a newer one."""
        return self.filter(due_on__lt=month)

    def unbooked(self) -> "ForecastQuerySet":
        """Of decks on which no work is booked or held."""
        living = Booking.objects.filter(
            decks=OuterRef("deck"), state__in=[Booking.State.BOOKED, Booking.State.HELD]
        )
        return self.exclude(Exists(living))

    def worn_deck_rows(self) -> "list[tuple[int, int, Decimal | None]]":
        """Deck, property and area."""
        columns = ("deck_id", "deck__site_id", "deck__area_m2")
        return list(self.order_by().values_list(*columns))

    def late_by_month(self, first: date, before: date) -> "list[tuple[date, int]]":
        """Month and how many decks became late, from a day on and before another."""
        late = self.filter(late_on__gte=first, late_on__lt=before).order_by()
        return list(late.values_list(TruncMonth("late_on")).annotate(decks=Count("*")))

    def count_late(self, today: date) -> dict[str, int]:
        """How many decks there are, and how many of them are late."""
        late = Count("pk", filter=Q(late_on__lt=today))
        return self.order_by().aggregate(decks=Count("pk"), late=late)

    def with_surfaces(self) -> "ForecastQuerySet":
        """With `others`: surface and due day of what has a day of its own beside the boards."""
        rows = SurfaceForecast.objects.filter(deck=OuterRef("deck")).order_by("due_on", "surface")
        said = JSONObject(surface="surface", due_on="due_on", opens_on="window_opens_on")
        return self.annotate(others=ArraySubquery(rows.values(said=said)))

    def by_town(self, *, on: date) -> "ForecastQuerySet":
        """Towns by name; inside a town the decks worth most first:
        large ones and those long past due on that day; those whose size nobody knows come last."""
        lateness = 1 + DaysPast(Value(on), F("due_on")) / Value(365.0)
        worth = ExpressionWrapper(F("deck__area_m2") * lateness, output_field=FloatField())
        return self.annotate(worth=worth).order_by(
            "deck__site__town",
            "deck__site__region",
            F("worth").desc(nulls_last=True),
            "due_on",
            "deck_id",
        )

    def towns(self) -> "models.QuerySet[Forecast, Any]":
        """How many decks and how much surface each town has, in the order of `by_town`."""
        town = F("deck__site__town")
        region = F("deck__site__region")
        grouped = self.order_by().values(town=town, region=region)
        counted = grouped.annotate(**COUNT_AND_AREA)
        return counted.order_by("town", "region")

    def count_and_area(self) -> dict[str, Any]:
        """How many decks, how much surface [m²], and how many decks whose size nobody knows."""
        return self.order_by().aggregate(**COUNT_AND_AREA)

    def counts_by_month(self, first: date, months: int) -> dict[date, int]:
        """How many become due in each of so many months, from the first on;
        months without any are left out."""
        until = shift_months(first, months)
        ahead = self.foreseeable().filter(due_on__gte=first, due_on__lt=until).order_by()
        return dict(ahead.values_list(TruncMonth("due_on")).annotate(decks=Count("*")))


class Forecast(models.Model):
    """When a deck is next due, as the model of `model_version` sees it (one row a deck): with the
    first of its surfaces. All else is told of the coat that leads the visit: that on the boards,
    unless what is due first comes too long before them, or they have none."""

    deck = models.OneToOneField(Deck, on_delete=models.CASCADE, related_name="forecast")
    job = models.ForeignKey(
        Job, on_delete=models.CASCADE, related_name="+", help_text="The job that made the coat."
    )
    surface = models.CharField(
        max_length=7,
        choices=Surface.choices,
        default=Surface.BOARDS,
        db_default=Surface.BOARDS,
        help_text="What the coat is on.",
    )
    model_version = models.CharField(max_length=40)
    computed_at = models.DateTimeField(db_default=Now())
    computed_on = models.DateField(
        help_text="The day for which the chance of being worn was computed."
    )
    window_opens_on = models.DateField(help_text="The chance of being worn reaches 20 %.")
    half_worn_on = models.DateField(help_text="The chance of being worn reaches 50 %.")
    due_on = models.DateField(
        help_text="The day of a workable week that suits the work best, by what upkeep"
        " costs; of the surface that comes first."
    )
    boards_due_on = models.DateField(
        null=True,
        blank=True,
        help_text="That of the boards, if they have a coat; due_on is earlier where something else"
        " comes first.",
    )
    late_on = models.DateField(help_text="The chance of being worn reaches 80 %.")
    chance_worn = models.FloatField(help_text="On the day of computing.")
    median_months = models.FloatField(help_text="Median life of the coat in clock months.")
    log_sd = models.FloatField(help_text="Spread of the life on the log scale.")
    reference_months = models.FloatField(
        help_text="Median life of the reference deck in clock months."
    )
    contributions = models.JSONField(
        default=dict, help_text="Factor → months longer or shorter than the reference."
    )
    unknowns = models.JSONField(
        default=dict, help_text="What is not known → months that knowing it takes off the window."
    )
    prior_share = models.FloatField(default=1.0, help_text="How much rests on the prior, 0 to 1.")
    coat_build = models.PositiveSmallIntegerField(
        default=0, help_text="Coats since the last strip."
    )
    sound_on = models.DateField(
        null=True, blank=True, help_text="Last visit at which the coat was found sound."
    )

    look_on = models.DateField(
        null=True,
        blank=True,
        help_text="From then on one of us looks at it before a recoat is planned.",
    )
    strip_on = models.DateField(null=True, blank=True, help_text="From then on a strip is planned.")

    objects = ForecastQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "deck_id"]
        indexes = [
            # with what the table of Today asks of every deck, so that it reads no row for it
            models.Index(
                fields=["due_on", "deck"],
                include=[
                    "job",
                    "surface",
                    "boards_due_on",
                    "window_opens_on",
                    "late_on",
                    "strip_on",
                    "coat_build",
                ],
                name="forecast_standing",
            ),
            models.Index(fields=["window_opens_on"], name="forecast_by_window"),
        ]
        constraints = [
            models.CheckConstraint(
                name="forecast_window_in_order",
                condition=Q(window_opens_on__lte=F("half_worn_on"), half_worn_on__lte=F("late_on")),
            ),
            models.CheckConstraint(
                name="forecast_due_with_the_boards_or_before",
                condition=Q(due_on__lte=F("boards_due_on")),
            ),
            models.CheckConstraint(
                name="forecast_of_the_boards_has_their_day",
                condition=~Q(surface=Surface.BOARDS) | Q(boards_due_on__isnull=False),
            ),
            models.CheckConstraint(
                name="forecast_chances_are_shares",
                condition=Q(
                    chance_worn__gte=0, chance_worn__lte=1, prior_share__gte=0, prior_share__lte=1
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.deck}: due on {self.due_on}"

    @property
    def is_far(self) -> bool:
        """Whether it is due so far ahead that its month is not known."""
        return self.due_on > self.computed_on + FAR

    @property
    def due_words(self) -> str:
        """“May 2027”, “not before 2033”."""
        return say_due(self.due_on, self.window_opens_on, self.computed_on)

    @property
    def due_aside(self) -> str:
        """Why the due day may lie outside the window that stands beside it; else empty."""
        if self.window_opens_on <= self.due_on <= self.late_on:
            return ""
        if self.surface == Surface.BOARDS and self.boards_due_on != self.due_on:
            return "another surface is due before the boards"
        return "the workable week in which upkeep costs least"

    def advice(self, today: date) -> WorkAdvice:
        """What the chance that a recoat still does says of that day."""
        return advice_of_days(self.look_on, self.strip_on, today)


def advice_of_days(look_on: date | None, strip_on: date | None, today: date) -> WorkAdvice:
    """`Forecast.advice` by the columns alone."""
    if strip_on and strip_on <= today:
        return WorkAdvice.STRIP
    return WorkAdvice.LOOK if look_on and look_on <= today else WorkAdvice.RECOAT


def say_due(due_on: date, opens_on: date, today: date) -> str:
    """“May 2027”; of a day too far off “not before 2033”, when its window opens."""
    said = earliest_words(due_on, opens_on, today)
    return f"not before {said}" if due_on > today + FAR else said


def earliest_words(due_on: date, opens_on: date, today: date) -> str:
    """The month; of a day too far off the year in which its window opens."""
    return str(opens_on.year) if due_on > today + FAR else display.format_month(due_on)


class SurfaceForecast(models.Model):
    """When the newest coat on rails, stairs or screens is next due, where that may be another day
    than the boards'; written with the forecast of the deck."""

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="surface_forecasts")
    surface = models.CharField(max_length=7, choices=Surface.choices)
    job = models.ForeignKey(
        Job, on_delete=models.CASCADE, related_name="+", help_text="The job that made the coat."
    )
    window_opens_on = models.DateField(help_text="The chance of being worn reaches 20 %.")
    due_on = models.DateField(help_text="The day that suits the work best.")
    late_on = models.DateField(help_text="The chance of being worn reaches 80 %.")

    class Meta:
        ordering = ["deck_id", "due_on", "surface"]
        constraints = [
            models.UniqueConstraint(
                fields=["deck", "surface"], name="surface_forecast_once_a_deck"
            ),
            models.CheckConstraint(
                name="surface_forecast_of_what_is_not_boards",
                condition=Q(surface__in=["stairs", "rails", "screens"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_surface_display()} of {self.deck}: due on {self.due_on}"


class ModelFitQuerySet(models.QuerySet["ModelFit"]):
    def in_use(self) -> "ModelFit | None":
        """The fit that forecasts rest on; None means the published priors."""
        return self.filter(is_in_use=True).first()

    def newest(self) -> "ModelFit | None":
        """The last one tried, whether or not it was taken into use."""
        return self.order_by("-pk").first()


class ModelFit(models.Model):
    """What was learned from the business's own book on one day, how it did on held-back visits, and
    whether it is used.

    A row is never changed but for `is_in_use`; scores are mean log scores over the same visits,
    less is better.
    """

    version = models.CharField(
        max_length=40, unique=True, help_text="Equal data and priors give an equal version."
    )
    created_at = models.DateTimeField(db_default=Now())
    trained_on = models.DateField(help_text="Visits up to this day were learned from.")
    visits = models.PositiveIntegerField(help_text="Graded visits in the book.")
    coats = models.PositiveIntegerField(help_text="Coats that were learned from.")
    decks = models.PositiveIntegerField(help_text="Decks that they were on.")
    parameters = models.JSONField(help_text="As the numerical core wrote them.")
    held_back = models.PositiveIntegerField(default=0, help_text="Visits that the scores rest on.")
    own_score = models.FloatField(
        null=True, help_text="Of this way of learning, as each visit came."
    )
    in_use_score = models.FloatField(null=True, help_text="Of the fit that was in use then.")
    flat_score = models.FloatField(
        null=True, help_text="Of the calendar rule: every deck once a year."
    )
    class_score = models.FloatField(null=True, help_text="Of the average of each finish class.")
    is_in_use = models.BooleanField(default=False)
    why = models.TextField(help_text="Why it was taken into use, or why not.")
    figures = models.JSONField(
        default=dict, help_text="What the Figures page shows, as worked out with this fit."
    )

    objects = ModelFitQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["is_in_use"], condition=Q(is_in_use=True), name="one_fit_in_use"
            ),
            models.CheckConstraint(
                name="fit_has_learned_from_coats", condition=Q(coats__gte=1, decks__gte=1)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.version}, visits to {self.trained_on}"


class LearnedStart(models.Model):
    """What other books learned, as the start of this one until its own visits say more; without a
    row it starts from the published figures."""

    id = models.SmallIntegerField(primary_key=True, default=1, editable=False)
    version = models.CharField(max_length=40, help_text="Equal files give an equal version.")
    created_at = models.DateTimeField(db_default=Now())
    parameters = models.JSONField(help_text="As the numerical core pooled them.")
    books = models.PositiveIntegerField(help_text="How many books it comes from.")
    visits = models.PositiveIntegerField(help_text="Graded visits in them.")
    decks = models.PositiveIntegerField(help_text="Decks in them.")

    class Meta:
        constraints = [
            models.CheckConstraint(name="one_learned_start", condition=Q(id=1)),
            models.CheckConstraint(
                name="start_rests_on_books",
                condition=Q(books__gte=1, visits__gte=1, decks__gte=1),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.version}, from {self.books} books"


class ReminderQuerySet(models.QuerySet["Reminder"]):
    def first_sent(self, *, since: datetime) -> "list[tuple[int, int, int, datetime]]":
        """Deck, property, client and moment of the first reminder of each coat that was sent, of
        the coats first reminded about since that moment."""
        sent = self.filter(message__state__in=["accepted", "delivered"]).order_by()
        coats = sent.values("job_id").annotate(first_at=Min("message__accepted_at"))
        rows = coats.filter(first_at__gte=since).order_by("first_at", "job_id")
        return list(
            rows.values_list("deck_id", "deck__site_id", "deck__site__client_id", "first_at")
        )


class Reminder(models.Model):
    """The decision to remind about one coat of one deck at one step;
    it exists at most once a channel."""

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="reminders")
    job = models.ForeignKey(
        Job, on_delete=models.CASCADE, related_name="reminders", help_text="The coat that is due."
    )
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="reminders")
    step = models.PositiveSmallIntegerField(default=1)
    channel = models.CharField(max_length=6)
    replaces = models.OneToOneField(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="replaced_by",
        help_text=(
            "The reminder by another channel that reached nobody, for which this one stands in."
        ),
    )
    created_at = models.DateTimeField(db_default=Now())

    objects = ReminderQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "step", "channel"], name="reminder_once_a_coat_step_and_channel"
            ),
            models.UniqueConstraint(
                fields=["job", "step"],
                condition=Q(replaces=None),
                name="reminder_once_a_coat_and_step",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.deck}, step {self.step}"


class ReminderStepQuerySet(models.QuerySet["ReminderStep"]):
    def sequence(self) -> "Sequence[ReminderStep]":
        """All steps in order, or the program's own while the owner has not changed any."""
        return list(self.order_by("number")) or [ReminderStep(**step) for step in DEFAULT_STEPS]


class ReminderStep(models.Model):
    """One word of the sequence: when it is due, counted from the window of the forecast, and by
    which channels."""

    class Anchor(models.TextChoices):
        OPENS = "opens", "the day the window opens"
        DUE = "due", "the due date"
        LATE = "late", "the day it is late"

    number = models.PositiveSmallIntegerField(unique=True)
    purpose = models.CharField("text", max_length=10, choices=MessageText.Purpose.choices)
    anchor = models.CharField(
        "counted from", max_length=5, choices=Anchor.choices, default=Anchor.OPENS
    )
    offset_days = models.SmallIntegerField("days after", default=0, help_text="Negative is before.")
    channels = ArrayField(
        models.CharField(max_length=6, choices=Channel.choices),
        help_text="The first one that is possible is used.",
    )
    is_on = models.BooleanField("in use", default=True)
    goes_by_itself = models.BooleanField(
        "queue it by itself when its day comes",
        default=False,
        help_text="Each night, without anybody looking first.",
    )

    objects = ReminderStepQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                name="step_numbered_from_1", condition=Q(number__gte=1, number__lte=9)
            ),
            models.CheckConstraint(name="step_has_a_channel", condition=Q(channels__len__gt=0)),
            models.CheckConstraint(
                name="step_within_two_years",
                condition=Q(offset_days__gte=-730, offset_days__lte=730),
            ),
        ]

    def __str__(self) -> str:
        return f"Step {self.number}"

    @property
    def label(self) -> str:
        """Such as “first reminder”."""
        return self.get_purpose_display().lower()

    @property
    def in_words(self) -> str:
        """Such as “First reminder: 7 days after the due date, by e-mail or letter”."""
        days = abs(self.offset_days)
        gap = (
            f"{days} day{'' if days == 1 else 's'} {'before' if self.offset_days < 0 else 'after'}"
        )
        when = f"{gap} {self.get_anchor_display()}" if days else f"on {self.get_anchor_display()}"
        ways = " or ".join(str(Channel(channel).label).lower() for channel in self.channels)
        itself = ", sent by itself" if self.goes_by_itself else ""
        return f"{self.label[:1].upper()}{self.label[1:]}: {when}, by {ways}{itself}"

    def day(self, *, opens_on: date, due_on: date, late_on: date) -> date:
        """The day on which it is due for a coat with that window."""
        anchor = {"opens": opens_on, "due": due_on, "late": late_on}[self.anchor]
        return anchor + timedelta(days=self.offset_days)


# What a business begins with: a word so long before the week that suits the work that a day can be
# found and the crew be filled (2 to 8 weeks from reminder to work, common practice, no source), one
# when few weeks are left, one when that week was missed.
DEFAULT_STEPS: list[dict[str, Any]] = [
    {
        "number": 1,
        "purpose": "first",
        "anchor": "due",
        "offset_days": -56,
        "channels": ["email", "text", "letter"],
    },
    {
        "number": 2,
        "purpose": "second",
        "anchor": "due",
        "offset_days": -28,
        "channels": ["email", "text", "letter"],
    },
    {
        "number": 3,
        "purpose": "last",
        "anchor": "due",
        "offset_days": 14,
        "channels": ["email", "text", "call", "letter"],
    },
]


class Stop(models.Model):
    """No more reminders about this coat: why, by whom, and until when (for good if empty)."""

    class Why(models.TextChoices):
        DECLINED = "declined", "The client declined an offer"
        ASKED = "asked", "The client asked to be left alone"
        SOLD = "sold", "The client has sold the house"
        PLAN = "plan", "On a care plan"
        BY_HAND = "by_hand", "Somebody of the business decided so"

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="stops")
    job = models.OneToOneField(
        Job, on_delete=models.CASCADE, related_name="stop", help_text="The coat that is due."
    )
    why = models.CharField(max_length=8, choices=Why.choices)
    words = models.CharField(max_length=300, blank=True)
    until = models.DateField(null=True, blank=True)
    at = models.DateTimeField(db_default=Now())
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.deck}: {self.get_why_display()}"

    @property
    def description(self) -> str:
        """Such as “The client declined an offer: too dear. No reminders until Mar 1, 2028.”"""
        said = f"{self.get_why_display()}{': ' if self.words else ''}{self.words.rstrip('.')}."
        return (
            f"{said} No reminders until {display.format_day(self.until)}." if self.until else said
        )


class ClientLink(models.Model):
    """The private page of one client that a reminder leads to; only a hash of its address is
    kept."""

    message = models.OneToOneField(Message, on_delete=models.PROTECT, related_name="client_link")
    page_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="client_link_hash_is_hex", condition=Q(page_hash__regex=r"^[0-9a-f]{64}$")
            )
        ]

    def __str__(self) -> str:
        return f"Link of {self.message}"


class ClientAnswerQuerySet(models.QuerySet["ClientAnswer"]):
    def live(self) -> "ClientAnswerQuerySet":
        """Not taken back."""
        return self.filter(undone_at=None)


class ClientAnswer(models.Model):
    """What a client pressed on their page; what followed from it is in `given`."""

    class Kind(models.TextChoices):
        OFFER = "offer", "Wants a price, or a week"
        NOT_NOW = "not_now", "Not this year"
        SOLD = "sold", "Has sold the house"
        DETAILS = "details", "Other details"
        CONTACT = "contact", "How we may write"
        CHECK = "check", "How the deck looks"

    link = models.ForeignKey(ClientLink, on_delete=models.PROTECT, related_name="answers")
    kind = models.CharField(max_length=7, choices=Kind.choices)
    given = models.JSONField(default=dict, help_text="What was chosen or typed, and what was made.")
    at = models.DateTimeField(db_default=Now())
    undone_at = models.DateTimeField(null=True, blank=True, help_text="The client took it back.")
    decided_at = models.DateTimeField(null=True, blank=True, help_text="Of details: looked at.")
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    is_taken_over = models.BooleanField(default=False, help_text="Of details: now in the book.")

    objects = ClientAnswerQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="client_answer_kind_known",
                condition=Q(kind__in=["offer", "not_now", "sold", "details", "contact", "check"]),
            ),
            models.UniqueConstraint(
                fields=["link", "kind"],
                condition=Q(undone_at=None, kind__in=["offer", "not_now", "sold"]),
                name="client_answer_once_a_link",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.at:%Y-%m-%d %H:%M}"


class PacedDeck(models.Model):
    """The week in which the owner of a deck is to be reminded, so that acceptances fill the crews
    evenly."""

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="paced")
    job = models.OneToOneField(
        Job, on_delete=models.CASCADE, related_name="paced", help_text="The coat that is due."
    )
    week = models.DateField(
        null=True, blank=True, help_text="Its Monday; empty means not in this plan."
    )
    is_by_hand = models.BooleanField(
        default=False, help_text="Chosen by a person; a new plan leaves it."
    )
    until = models.DateField(
        null=True, blank=True, help_text="Last day of the plan, after which this says nothing."
    )
    made_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["week", "deck_id"]
        indexes = [models.Index(fields=["week"], name="paced_by_week")]
        constraints = [
            models.CheckConstraint(
                name="paced_week_begins_on_monday", condition=Q(week=None) | Q(week__iso_week_day=1)
            )
        ]

    def __str__(self) -> str:
        return f"{self.deck} in the week of {self.week}"


class SavedView(models.Model):
    """A list of the page Today, or a look-up, that somebody comes back to: a name for what stands
    in the address."""

    class Page(models.TextChoices):
        TODAY = "today", "Today"
        LOOK_UP = "look_up", "Clients"

    page = models.CharField(max_length=7, choices=Page.choices, default=Page.TODAY)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="saved_views"
    )
    name = models.CharField(max_length=60)
    query = models.CharField(max_length=500, help_text="As in the address, after “?”.")

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["owner", "page", "name"], name="view_once_a_name_and_person"
            )
        ]

    def __str__(self) -> str:
        return self.name


class CarePlanQuerySet(models.QuerySet["CarePlan"]):
    def running(self) -> "CarePlanQuerySet":
        """Agreed and not ended; one may begin on a later day."""
        return self.filter(ended_on=None)

    def with_place(self) -> "CarePlanQuerySet":
        return self.select_related("site__client")


class CarePlan(models.Model):
    """What a client agreed to once: that the decks of a property are looked after whenever they are
    ready, at a price by a rule, until one side ends it."""

    class EndedBy(models.TextChoices):
        CLIENT = "client", "The client"
        US = "us", "We"
        TERM = "term", "As agreed"

    MAX_TERM_MONTHS = 120
    MAX_NOTICE_DAYS = 90

    site = models.ForeignKey(
        Property,
        on_delete=models.PROTECT,
        db_column="property_id",
        verbose_name="property",
        related_name="care_plans",
    )
    starts_on = models.DateField("from")
    term_months = models.PositiveSmallIntegerField("for so many months", default=12)
    renews = models.BooleanField("goes on after that until one side ends it", default=True)
    price = models.DecimalField(
        "price per visit, with tax", max_digits=10, decimal_places=2, help_text="In the first year."
    )
    currency = models.CharField(max_length=3)
    raise_percent = models.DecimalField(
        "more each year, %",
        max_digits=5,
        decimal_places=2,
        default=0,
        help_text="Once a year, on the day it began.",
    )
    notice_days = models.PositiveSmallIntegerField(
        "days to say no", default=14, help_text="From the message to the last day to say no."
    )
    wording = models.TextField(max_length=5_000, help_text="What the client agreed to.")
    evidence = models.CharField(max_length=300, help_text="How: signed on paper, by e-mail …")
    created_at = models.DateTimeField(db_default=Now())
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    ended_on = models.DateField(null=True, blank=True)
    ended_by = models.CharField(max_length=6, choices=EndedBy.choices, blank=True)

    objects = CarePlanQuerySet.as_manager()

    class Meta:
        ordering = ["-starts_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["site"], condition=Q(ended_on=None), name="care_plan_once_a_property"
            ),
            models.CheckConstraint(name="care_plan_price_positive", condition=Q(price__gt=0)),
            models.CheckConstraint(
                name="care_plan_currency", condition=Q(currency__regex=r"^[A-Z]{3}$")
            ),
            models.CheckConstraint(
                name="care_plan_raise_is_a_percentage",
                condition=Q(raise_percent__gte=0, raise_percent__lte=50),
            ),
            models.CheckConstraint(
                name="care_plan_term_and_notice",
                condition=Q(
                    term_months__gte=1,
                    term_months__lte=120,
                    notice_days__gte=1,
                    notice_days__lte=90,
                ),
            ),
            models.CheckConstraint(
                name="care_plan_was_agreed", condition=~Q(wording="") & ~Q(evidence="")
            ),
            models.CheckConstraint(
                name="care_plan_ended_by_somebody",
                condition=Q(ended_on=None, ended_by="")
                | Q(ended_on__isnull=False, ended_by__in=["client", "us", "term"]),
            ),
        ]

    def __str__(self) -> str:
        return f"Care plan of {self.site}"

    def price_on_day(self, day: date) -> Decimal:
        """Of a visit on that day."""
        return price_on(
            day, starts_on=self.starts_on, price=self.price, raise_percent=self.raise_percent
        )


class PlanVisitQuerySet(models.QuerySet["PlanVisit"]):
    def standing(self) -> "PlanVisitQuerySet":
        """Not refused; the work may be over."""
        return self.filter(refused_at=None)

    def ahead(self) -> "PlanVisitQuerySet":
        """Booked or held, and not refused."""
        return self.standing().filter(booking__state__in=[Booking.State.BOOKED, Booking.State.HELD])

    def refusable(self, today: date) -> "PlanVisitQuerySet":
        """Those that the client may still say no to."""
        return self.ahead().filter(say_no_by__gte=today)

    def worth_by_month(self, currency: str) -> "list[tuple[date, int, Decimal]]":
        """Month of the visit, how many, and what was agreed for them in this currency, of those
        that were not refused or cancelled."""
        living = self.standing().exclude(booking__state=Booking.State.CANCELLED)
        rows = living.filter(plan__currency=currency).order_by()
        months = rows.values_list(TruncMonth("booking__first_on"))
        return list(months.annotate(visits=Count("pk"), agreed=Sum("price")))


class PlanVisit(models.Model):
    """A week that the program proposed for a care plan: the booking, its price, and until when the
    client may say no."""

    plan = models.ForeignKey(CarePlan, on_delete=models.PROTECT, related_name="visits")
    season_ends_on = models.DateField(help_text="Last day of the season that it is for.")
    booking = models.OneToOneField(Booking, on_delete=models.PROTECT, related_name="plan_visit")
    message = models.OneToOneField(
        Message, null=True, blank=True, on_delete=models.PROTECT, related_name="plan_visit"
    )
    price = models.DecimalField(max_digits=10, decimal_places=2)
    say_no_by = models.DateField("last day to say no")
    refused_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(db_default=Now())

    objects = PlanVisitQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "season_ends_on"],
                condition=Q(refused_at=None),
                name="plan_visit_once_a_season",
            ),
            models.CheckConstraint(name="plan_visit_has_a_price", condition=Q(price__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.plan}, {self.booking.first_on}"
