"""The diary: crews, the hours they have on each day, and what is booked into them."""

import calendar
import uuid
from collections.abc import Collection
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser
from django.db import models
from django.db.models import F, Q, Sum
from django.db.models.functions import Lower, Now, TruncMonth

from clients.models import Client, Deck, Property
from jobs.arrival import Arrival
from jobs.models.job import Job
from jobs.models.offer import Offer


def weekdays() -> list[int]:
    """Monday to Friday, ISO numbers."""
    return [1, 2, 3, 4, 5]


class CrewQuerySet(models.QuerySet["Crew"]):
    def going_out(self) -> "CrewQuerySet":
        return self.filter(is_active=True)

    def of_person(self, person: AbstractBaseUser) -> "CrewQuerySet":
        """The crews that somebody goes out with; the only crew there is goes without saying."""
        own = self.going_out().filter(people=person.pk)
        if own.exists():
            return own
        return self.going_out() if self.going_out().count() == 1 else self.none()


class Crew(models.Model):
    """People who go out together; their working hours make the capacity."""

    name = models.CharField(max_length=80)
    hours_a_day = models.DecimalField(
        "working hours a day, all together", max_digits=5, decimal_places=2, default=8
    )
    works_on = models.JSONField(default=weekdays, help_text="ISO weekdays, Monday is 1.")
    feed_hash = models.CharField(max_length=64, null=True, blank=True, unique=True)
    is_active = models.BooleanField("goes out", default=True)
    position = models.PositiveSmallIntegerField(default=1)
    people = models.ManyToManyField(
        settings.AUTH_USER_MODEL,
        blank=True,
        related_name="crews",
        verbose_name="who goes out with it",
    )

    objects = CrewQuerySet.as_manager()

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="crew_once_a_name"),
            models.CheckConstraint(name="crew_has_hours", condition=Q(hours_a_day__gt=0)),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def weekdays_in_words(self) -> str:
        """“Monday to Friday”, or the days one by one."""
        numbers = sorted(set(self.works_on))
        names = [calendar.day_name[number - 1] for number in numbers]
        is_row = len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1
        return f"{names[0]} to {names[-1]}" if is_row else ", ".join(names)


class DayOff(models.Model):
    """Days on which a crew, or everybody, does not go out."""

    crew = models.ForeignKey(
        Crew,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="days_off",
        help_text="Empty means all.",
    )
    first_on = models.DateField("from")
    last_on = models.DateField("to")
    why = models.CharField(max_length=120, blank=True)

    class Meta:
        verbose_name_plural = "days off"
        ordering = ["first_on", "id"]
        constraints = [
            models.CheckConstraint(name="day_off_in_order", condition=Q(last_on__gte=F("first_on")))
        ]

    def __str__(self) -> str:
        return f"{self.first_on} to {self.last_on} {self.why}".strip()


class CrewDay(models.Model):
    """A crew's day with the hours it has and the hours booked;
    the row is locked before anything is booked into it."""

    crew = models.ForeignKey(Crew, on_delete=models.CASCADE, related_name="days")
    day = models.DateField()
    hours_open = models.DecimalField(max_digits=5, decimal_places=2)
    hours_booked = models.DecimalField(max_digits=5, decimal_places=2, default=0)

    class Meta:
        ordering = ["day", "crew_id"]
        constraints = [
            models.UniqueConstraint(fields=["crew", "day"], name="crew_day_once"),
            models.CheckConstraint(
                name="crew_day_not_overbooked",
                condition=Q(hours_booked__gte=0, hours_booked__lte=F("hours_open")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.crew} on {self.day}"


class BookingQuerySet(models.QuerySet["Booking"]):
    def next_by_deck(self, deck_ids: Collection[int]) -> "dict[int, Booking]":
        """The next work that is agreed on each of these decks; those without any are left out."""
        ahead = self.filter(state__in=[Booking.State.BOOKED, Booking.State.HELD])
        rows = ahead.filter(decks__in=deck_ids).order_by("-first_on", "-id")
        return {row.deck_id: row for row in rows.annotate(deck_id=F("decks"))}  # type: ignore[attr-defined]


class Booking(models.Model):
    """Work agreed for a property on one or more days of a crew."""

    class State(models.TextChoices):
        BOOKED = "booked", "Booked"
        HELD = "held", "Held for the weather"
        DONE = "done", "Done"
        CANCELLED = "cancelled", "Cancelled"

    uid = models.UUIDField(
        default=uuid.uuid4, unique=True, editable=False, help_text="Stays for ever (RFC 5545)."
    )
    sequence = models.PositiveIntegerField(
        default=0, help_text="Goes up whenever day, time, place or state changes."
    )
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="bookings")
    site = models.ForeignKey(
        Property,
        on_delete=models.PROTECT,
        db_column="property_id",
        verbose_name="property",
        related_name="bookings",
    )
    offer = models.OneToOneField(
        Offer, null=True, blank=True, on_delete=models.PROTECT, related_name="booking"
    )
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="bookings")
    decks = models.ManyToManyField(Deck, related_name="bookings")
    jobs = models.ManyToManyField(
        Job, related_name="bookings", blank=True, help_text="What was logged from it."
    )
    state = models.CharField(max_length=9, choices=State.choices, default=State.BOOKED)
    first_on = models.DateField()
    last_on = models.DateField()
    arrives_from = models.TimeField(
        null=True, blank=True, help_text="On each of its days, at the property."
    )
    arrives_to = models.TimeField(
        null=True, blank=True, help_text="Empty means about the first time."
    )
    hours = models.DecimalField(max_digits=6, decimal_places=2)
    notes = models.TextField(blank=True, max_length=5_000)
    why = models.CharField(
        max_length=300, blank=True, help_text="Why it was held, moved or cancelled last."
    )
    created_at = models.DateTimeField(db_default=Now())
    changed_at = models.DateTimeField(db_default=Now())
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    objects = BookingQuerySet.as_manager()

    class Meta:
        ordering = ["first_on", "crew_id", "id"]
        indexes = [models.Index(fields=["first_on", "crew"], name="booking_by_day")]
        constraints = [
            models.CheckConstraint(
                name="booking_state_known",
                condition=Q(state__in=["booked", "held", "done", "cancelled"]),
            ),
            models.CheckConstraint(
                name="booking_days_in_order", condition=Q(last_on__gte=F("first_on"))
            ),
            models.CheckConstraint(name="booking_takes_time", condition=Q(hours__gt=0)),
            models.CheckConstraint(
                name="booking_arrival_in_order",
                condition=Q(arrives_to=None)
                | Q(arrives_from__isnull=False, arrives_to__gt=F("arrives_from")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site} on {self.first_on}"

    def is_over(self, *, today: date) -> bool:
        return self.last_on < today

    def arrival(self) -> Arrival:
        return Arrival(self.arrives_from, self.arrives_to)


class BookingDayQuerySet(models.QuerySet["BookingDay"]):
    def hours_by_month(self, first: date, until: date) -> "list[tuple[date, str, Decimal]]":
        """Month, state of the booking, and hours from a day on and before another."""
        inside = self.filter(crew_day__day__gte=first, crew_day__day__lt=until)
        standing = inside.exclude(booking__state=Booking.State.CANCELLED).order_by()
        rows = standing.values_list(TruncMonth("crew_day__day"), "booking__state")
        return list(rows.annotate(taken=Sum("hours")))


class BookingDay(models.Model):
    """The hours a booking takes of one crew day."""

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="days")
    crew_day = models.ForeignKey(CrewDay, on_delete=models.PROTECT, related_name="bookings")
    hours = models.DecimalField(max_digits=5, decimal_places=2)

    objects = BookingDayQuerySet.as_manager()

    class Meta:
        ordering = ["crew_day__day", "id"]
        constraints = [
            models.UniqueConstraint(fields=["booking", "crew_day"], name="booking_day_once"),
            models.CheckConstraint(name="booking_day_takes_time", condition=Q(hours__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.hours} h of {self.crew_day}"


class SignOff(models.Model):
    """The client's word at the end of a job, taken on the phone."""

    job = models.OneToOneField(Job, on_delete=models.CASCADE, related_name="sign_off")
    name = models.CharField("name of the client", max_length=200)
    wording = models.TextField(help_text="What was read and agreed, as shown.")
    drawn = models.TextField(
        blank=True,
        default="",
        db_default="",
        max_length=8_000,
        help_text="The path of the signature drawn with a finger; empty if only typed.",
    )
    signed_at = models.DateTimeField(db_default=Now())
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        constraints = [
            models.CheckConstraint(name="sign_off_has_a_name", condition=~Q(name="")),
            models.CheckConstraint(
                name="sign_off_drawing_is_a_path",
                condition=Q(drawn__regex=r"^(M\d{1,3} \d{1,3}(L\d{1,3} \d{1,3})*)*$"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.job}"
