"""What the owner's source expects the weather to be, by place. The weather that was is noted with
each job."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import F, Func, Q, Value
from django.db.models.lookups import Exact

if TYPE_CHECKING:
    from clients.models import Property

MAX_FORECAST_AGE = timedelta(days=1)  # older is not shown any more
WeatherPosition = tuple[Decimal, Decimal]  # latitude and longitude, to a hundredth of a degree


def weather_position(site: "Property") -> WeatherPosition:
    """The spot that the source is asked about: about a kilometre wide, so it tells nobody's
    address."""
    return Decimal(f"{site.latitude:.2f}"), Decimal(f"{site.longitude:.2f}")


class ExpectedWeatherQuerySet(models.QuerySet["ExpectedWeather"]):
    def shown(
        self, positions: Iterable[WeatherPosition], *, now: datetime
    ) -> "ExpectedWeatherQuerySet":
        """Those of at least these spots that are not too old to be shown."""
        asked = list(positions)
        return self.filter(
            latitude__in={latitude for latitude, _ in asked},
            longitude__in={longitude for _, longitude in asked},
            fetched_at__gt=now - MAX_FORECAST_AGE,
        )

    def newest_refusal(self) -> str:
        """Why the last try at some spot brought nothing; empty where each brought something."""
        rows = self.exclude(why_refused="").order_by("-ask_not_before", "id")
        return rows.values_list("why_refused", flat=True).first() or ""


class ExpectedWeather(models.Model):
    """One spot: the hours ahead as the source last told them, and when it may be asked again.

    What was told stays while the source tells nothing better; its age is shown.
    """

    latitude = models.DecimalField(max_digits=4, decimal_places=2)
    longitude = models.DecimalField(max_digits=5, decimal_places=2)
    source = models.CharField(max_length=300, help_text="The owner's address, with its fields.")
    spells = models.JSONField(
        default=list, help_text="Rows of begin, hours, °C, % humidity, mm of rain or null."
    )
    fetched_at = models.DateTimeField(
        null=True, help_text="When the source last told, or confirmed, these hours."
    )
    last_modified = models.CharField(
        max_length=100, blank=True, help_text="The source's own word for it, sent back as it is."
    )
    ask_not_before = models.DateTimeField()
    why_refused = models.CharField(
        max_length=300, blank=True, help_text="Why the last try brought nothing."
    )

    objects = ExpectedWeatherQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "expected weather"
        ordering = ["latitude", "longitude"]
        constraints = [
            models.UniqueConstraint(
                fields=["latitude", "longitude"], name="expected_weather_once_a_spot"
            ),
            models.CheckConstraint(
                name="expected_weather_on_earth",
                condition=Q(latitude__range=(-90, 90), longitude__range=(-180, 180)),
            ),
            models.CheckConstraint(
                name="expected_weather_is_a_list",
                condition=Exact(
                    Func(F("spells"), function="jsonb_typeof", output_field=models.TextField()),
                    Value("array"),
                ),
            ),
            models.CheckConstraint(
                name="expected_weather_told_once_fetched",
                condition=Q(fetched_at=None, spells=[])
                | (Q(fetched_at__isnull=False) & ~Q(spells=[])),
            ),
        ]

    def __str__(self) -> str:
        return f"Expected weather at {self.latitude}, {self.longitude}"

    @property
    def position(self) -> WeatherPosition:
        return self.latitude, self.longitude
