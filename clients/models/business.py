"""The business itself, the people who work in it, and the heartbeat of its background worker."""

import secrets
from datetime import date, datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib.auth.models import AbstractUser
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MinValueValidator
from django.db import connection, models
from django.db.models import Q
from django.db.models.functions import Now

from clients.kept_plans import written_out
from clients.notation import Units, postal, validate_map_link, validate_time_zone


def new_suppression_key() -> str:
    """The secret under which suppressed addresses are hashed; kept with the data it protects."""
    return secrets.token_hex(32)


def all_months() -> list[int]:
    return list(range(1, 13))


@cache
def business_columns() -> list[str]:
    return [field.attname for field in Business._meta.concrete_fields]


@cache
def current_business_sql() -> str:
    return written_out(Business.objects.filter(id=1))


class Business(models.Model):
    """The one business that this installation serves (a single row)."""

    name = models.CharField(max_length=120)
    legal_name = models.CharField(
        max_length=200, blank=True, help_text="As required in messages, if different."
    )
    street = models.CharField(max_length=200, blank=True)
    town = models.CharField(max_length=120, blank=True)
    region = models.CharField("province, state or region", max_length=120, blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    country = models.CharField(max_length=2, default="CA", help_text="Two letters, for example CA.")
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(
        blank=True, help_text="A mailbox that somebody reads; answers go here."
    )
    website = models.URLField(blank=True)
    tax_number = models.CharField(
        "tax or business number",
        max_length=80,
        blank=True,
        help_text="As it should stand on offers, with its name: HST 12345 6789 RT0001.",
    )
    logo = models.ImageField(
        upload_to="logo/",
        blank=True,
        editable=False,
        width_field="logo_width",
        height_field="logo_height",
        help_text="A PNG, shrunk when it was sent; never changed under its name.",
    )
    logo_width = models.PositiveSmallIntegerField(null=True, editable=False)
    logo_height = models.PositiveSmallIntegerField(null=True, editable=False)
    privacy_notice = models.TextField(
        "our own privacy notice",
        max_length=20_000,
        blank=True,
        help_text="Clients read it at /privacy/. Empty means the one made from what is kept here.",
    )
    sender_email = models.EmailField(blank=True, help_text="Reminders come from this address.")
    bounce_email = models.EmailField(
        blank=True, help_text="Undeliverable mail returns here; empty means the sender address."
    )
    dkim_selectors = models.CharField(
        "names of the keys that sign your mail",
        max_length=200,
        blank=True,
        help_text="Separated by commas.",
    )
    time_zone = models.CharField(
        max_length=60, default="America/Halifax", validators=[validate_time_zone]
    )
    locale = models.CharField(
        max_length=12, default="en-CA", help_text="For numbers, dates and money, such as en-CA."
    )
    currency = models.CharField(max_length=3, default="CAD")
    units = models.CharField(max_length=6, choices=Units.choices, default=Units.METRIC)
    season_months = ArrayField(
        models.PositiveSmallIntegerField(),
        default=all_months,
        help_text="Months in which crews work outdoors.",
    )
    wants_photos = models.BooleanField(
        "photos before and after each job",
        default=True,
        help_text="A strip or recoat without them is saved, and its page says what is missing.",
    )
    sign_off_needs_photos = models.BooleanField(
        "no sign-off before these photos are there",
        default=False,
        db_default=False,
        help_text="The phone is handed over once they are, or once somebody wrote why not.",
    )
    map_link = models.CharField(
        "map on the web",
        max_length=300,
        blank=True,
        default="",
        db_default="",
        validators=[validate_map_link],
        help_text=(
            "What Map opens: its address with {address}, or {lat} and {lon}."
            " Empty means the phone’s own map."
        ),
    )
    weather_source = models.CharField(
        "where the weather of the days ahead is from",
        max_length=300,
        blank=True,
        default="",
        help_text="An address with {lat} and {lon} in it; empty asks nobody.",
    )
    raw_months = models.PositiveSmallIntegerField(
        "what came in is kept word for word, months", default=13, validators=[MinValueValidator(1)]
    )
    answered_link_months = models.PositiveSmallIntegerField(
        "the page of an offer opens after its answer, months",
        default=13,
        validators=[MinValueValidator(1)],
    )
    mail_tested_with = models.CharField(
        max_length=300, blank=True, editable=False, help_text="The server that took a test mail."
    )
    second_step_roles = ArrayField(
        models.CharField(max_length=6),
        default=list,
        blank=True,
        help_text="Roles that sign in with a second step.",
    )
    suppression_key = models.CharField(max_length=64, default=new_suppression_key, editable=False)
    sending_held_at = models.DateTimeField(
        null=True,
        editable=False,
        help_text="Since when nothing goes out: the book was restored and may not be the only one.",
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "businesses"
        constraints = [
            models.CheckConstraint(name="business_is_one_row", condition=Q(id=1)),
            models.CheckConstraint(
                name="business_country_two_letters", condition=Q(country__regex=r"^[A-Z]{2}$")
            ),
            models.CheckConstraint(
                name="business_currency_three_letters", condition=Q(currency__regex=r"^[A-Z]{3}$")
            ),
            models.CheckConstraint(
                name="business_has_a_season", condition=Q(season_months__len__gt=0)
            ),
            models.CheckConstraint(
                name="business_keeps_a_month",
                condition=Q(raw_months__gte=1, answered_link_months__gte=1),
            ),
            models.CheckConstraint(
                name="business_map_link_is_https",
                condition=Q(map_link="") | Q(map_link__startswith="https://"),
            ),
            models.CheckConstraint(
                name="business_weather_source_takes_a_place",
                condition=Q(weather_source="")
                | Q(weather_source__regex=r"[{]lat[}]") & Q(weather_source__regex=r"[{]lon[}]"),
            ),
            models.CheckConstraint(
                name="business_second_step_of_roles",
                condition=Q(second_step_roles__contained_by=["owner", "office", "crew"]),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def logo_name(self) -> str:
        """Of the file, without its folder."""
        return (self.logo.name or "").rpartition("/")[2]

    @property
    def logo_content(self) -> bytes:
        """The picture; empty where there is none or its file is gone."""
        try:
            return bytes(self.logo.storage.open(self.logo.name).read()) if self.logo.name else b""
        except OSError:
            return b""

    @classmethod
    def current(cls) -> "Business | None":
        """The row, or None before the first visit. Every request asks, so that its words are
        written out once."""
        with connection.cursor() as cursor:
            cursor.execute(current_business_sql())
            row = cursor.fetchone()
        return cls.from_db(connection.alias, business_columns(), row) if row else None

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    @property
    def sends_nothing(self) -> bool:
        """The book is held: no message, letter or call leaves it (docs/decisions/0032)."""
        return self.sending_held_at is not None

    @property
    def sender(self) -> str:
        return self.sender_email or self.email

    @property
    def postal_address(self) -> str:
        """The address on one line, as the law of most countries wants it in a message."""
        return ", ".join(filter(None, [self.street, *self.town_lines]))

    @property
    def town_lines(self) -> list[str]:
        return postal.town_lines(
            town=self.town, region=self.region, postcode=self.postcode, country=self.country
        )

    def today(self, now: datetime) -> date:
        """The date at the business when it is `now`."""
        return now.astimezone(self.zone).date()


class User(AbstractUser):
    """Somebody who signs in: the owner, the office or a crew member."""

    class Role(models.TextChoices):
        OWNER = "owner", "Owner"
        OFFICE = "office", "Office"
        CREW = "crew", "Crew"

    class Notices(models.TextChoices):
        AT_ONCE = "at_once", "At once"
        DAILY = "daily", "Once a day"
        NONE = "none", "Not at all"

    notices_by = models.CharField(
        "mail about what clients do",
        max_length=7,
        choices=Notices.choices,
        default=Notices.AT_ONCE,
    )
    role = models.CharField(max_length=6, choices=Role.choices, default=Role.CREW)
    passkey_handle = models.UUIDField(
        null=True, unique=True, editable=False, help_text="Who the person is to their passkeys."
    )
    session_round = models.PositiveIntegerField(
        default=0, editable=False, help_text="Raised to end all sessions."
    )
    first_name = models.CharField("name", max_length=150, blank=True)
    last_name = None  # type: ignore[assignment] # one field for a name is enough

    class Meta(AbstractUser.Meta):
        constraints = [
            models.CheckConstraint(
                name="user_role_known", condition=Q(role__in=["owner", "office", "crew"])
            )
        ]

    def __str__(self) -> str:
        return self.get_full_name()

    def get_full_name(self) -> str:
        return self.first_name or self.username

    def _get_session_auth_hash(self, secret: Any = None) -> str:
        """Sessions hold it and end when it changes: with the password, and with the round."""
        of_password: str = super()._get_session_auth_hash(secret)  # type: ignore[misc]
        return f"{of_password}{self.session_round}" if self.session_round else of_password

    @property
    def has_second_step(self) -> bool:
        """An app or a passkey, as the database has it now."""
        is_there = Q(authenticator__isnull=False) | Q(passkeys__isnull=False)
        return User.objects.filter(is_there, pk=self.pk).exists()

    @property
    def may_send(self) -> bool:
        """The crew logs jobs and reads history; it does not send."""
        return self.role in {self.Role.OWNER, self.Role.OFFICE}

    @property
    def may_see_money(self) -> bool:
        return self.role in {self.Role.OWNER, self.Role.OFFICE}

    @property
    def may_manage(self) -> bool:
        """Settings and people are the owner's."""
        return self.role == self.Role.OWNER


class HeartbeatQuerySet(models.QuerySet["Heartbeat"]):
    def record(self, name: str) -> None:
        """This loop has just done its round, by the database's clock."""
        self.update_or_create(name=name, defaults={"beat_at": Now()})

    def ages(self, *, now: datetime) -> dict[str, float]:
        """Seconds since each loop last beat."""
        return {
            row.name: max((now - row.beat_at).total_seconds(), 0.0) for row in self.order_by("name")
        }


class Heartbeat(models.Model):
    """When a background loop last showed that it really works;
    process liveness does not prove that."""

    name = models.CharField(max_length=40, primary_key=True)
    beat_at = models.DateTimeField(db_default=Now())
    objects = HeartbeatQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.name} at {self.beat_at:%Y-%m-%d %H:%M:%S}"
