"""What the business charges: price lists by date, and the packs and opened tins that materials come
from."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Now

from jobs.models.product import Batch, Product

TIN_STALE_AFTER = timedelta(
    days=365
)  # a tin noted longer ago may have dried up or been used (a judgement)


def money_field(label: str = "", **kwargs: Any) -> "models.DecimalField[Any, Any]":
    """An amount in the currency of its list or offer, to the cent."""
    return models.DecimalField(label or None, max_digits=10, decimal_places=2, **kwargs)


def percentage_field(label: str = "", **kwargs: Any) -> "models.DecimalField[Any, Any]":
    return models.DecimalField(label or None, max_digits=6, decimal_places=3, default=0, **kwargs)


class PriceListQuerySet(models.QuerySet["PriceList"]):
    def with_details(self) -> "PriceListQuerySet":
        """With everything on the list, in a fixed number of queries."""
        return self.prefetch_related("rates", "zones", "taxes")

    def in_force(self, day: date) -> "PriceList | None":
        """The newest list that has begun by that day."""
        return self.with_details().filter(valid_from__lte=day).order_by("-valid_from").first()

    def with_offers(self) -> "PriceListQuerySet":
        """With the number of offers that rest on each, and of those that left the house."""
        gone = Q(offers__isnull=False) & ~Q(offers__state="draft")
        return self.annotate(
            offers_count=models.Count("offers"), sent_count=models.Count("offers", filter=gone)
        )


class PriceList(models.Model):
    """The prices from a day on, until the next list begins;
    offers freeze what they took from it."""

    class TaxMode(models.TextChoices):
        EXCLUSIVE = "exclusive", "Prices are without tax"
        INCLUSIVE = "inclusive", "Prices include the tax"

    class Rounding(models.TextChoices):
        TOTAL = "total", "Once on the sum of each tax"
        LINE = "line", "On every line"

    valid_from = models.DateField(unique=True)
    note = models.CharField(max_length=200, blank=True)
    currency = models.CharField(max_length=3)
    minimum_charge = money_field(default=0)
    travel_free_km = models.DecimalField(
        "distance without charge", max_digits=7, decimal_places=1, default=0
    )
    travel_per_km = money_field("travel a km", default=0)
    high_above_m = models.DecimalField(
        "high above", max_digits=5, decimal_places=2, null=True, blank=True
    )
    high_percent = percentage_field("more for a high deck")
    markup_percent = percentage_field("mark-up on materials")
    off_season_months = ArrayField(models.PositiveSmallIntegerField(), default=list, blank=True)
    off_season_percent = percentage_field("off-season discount")
    early_percent = percentage_field("discount for booking before the due date")
    tax_mode = models.CharField(max_length=9, choices=TaxMode.choices, default=TaxMode.EXCLUSIVE)
    tax_rounding = models.CharField(max_length=5, choices=Rounding.choices, default=Rounding.TOTAL)
    deposit_percent = percentage_field("deposit asked")
    deposit_amount = money_field("deposit asked", default=0)
    valid_days = models.PositiveSmallIntegerField("an offer stands for, days", default=30)
    created_at = models.DateTimeField(db_default=Now())

    objects = PriceListQuerySet.as_manager()

    class Meta:
        ordering = ["-valid_from"]
        constraints = [
            models.CheckConstraint(
                name="price_list_currency", condition=Q(currency__regex=r"^[A-Z]{3}$")
            ),
            models.CheckConstraint(
                name="price_list_amounts_not_negative",
                condition=Q(minimum_charge__gte=0, travel_free_km__gte=0, travel_per_km__gte=0),
            ),
            models.CheckConstraint(
                name="price_list_percents",
                condition=Q(
                    high_percent__gte=0,
                    markup_percent__gte=0,
                    off_season_percent__gte=0,
                    off_season_percent__lt=100,
                    early_percent__gte=0,
                    early_percent__lt=100,
                ),
            ),
            models.CheckConstraint(
                name="price_list_deposit_in_one_way",
                condition=Q(deposit_percent__gte=0, deposit_percent__lte=100, deposit_amount=0)
                | Q(deposit_percent=0, deposit_amount__gte=0),
            ),
            models.CheckConstraint(
                name="price_list_offers_stand_a_day", condition=Q(valid_days__gte=1)
            ),
        ]

    def __str__(self) -> str:
        return f"Prices from {self.valid_from}"

    @property
    def is_settled(self) -> bool:
        """An offer that left the house rests on it:
        it stays as it is, a newer list takes its place."""
        return self.offers.exclude(state="draft").exists()


class Rate(models.Model):
    """One task's price for one unit, and the time it takes."""

    class Task(models.TextChoices):
        SET_UP = "set_up", "Set up and protect surrounds"
        CLEAN = "clean", "Clean"
        STRIP = "strip", "Strip, one full application"
        BRIGHTEN = "brighten", "Brighten"
        SAND = "sand", "Light sand"
        COAT = "coat", "Seal, one coat"
        RAILS = "rails", "Railing, once a visit"
        STAIRS = "stairs", "Stairs, once a visit"
        HOURLY = "hourly", "Other work by the hour"

    class Per(models.TextChoices):
        M2 = "m2", "m²"
        METRE = "m", "m rail"
        TREAD = "tread", "tread"
        SCREEN = "screen", "m² screen"
        HOUR = "hour", "hour"
        JOB = "job", "visit"

    price_list = models.ForeignKey(PriceList, on_delete=models.CASCADE, related_name="rates")
    task = models.CharField(max_length=8, choices=Task.choices)
    per = models.CharField(max_length=6, choices=Per.choices)
    amount = money_field()
    minutes = models.DecimalField("minutes a unit", max_digits=6, decimal_places=2, default=0)

    class Meta:
        ordering = ["price_list_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["price_list", "task", "per"], name="rate_once_a_task_and_unit"
            ),
            models.CheckConstraint(
                name="rate_not_negative", condition=Q(amount__gte=0, minutes__gte=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_task_display()}, {self.amount} a {self.get_per_display()}"


class TravelZone(models.Model):
    """A fixed travel charge for a town; it goes before the distance."""

    price_list = models.ForeignKey(PriceList, on_delete=models.CASCADE, related_name="zones")
    town = models.CharField(max_length=120)
    amount = money_field()

    class Meta:
        ordering = ["price_list_id", "town"]
        constraints = [
            models.UniqueConstraint("price_list", Lower("town"), name="travel_zone_once_a_town"),
            models.CheckConstraint(name="travel_zone_not_negative", condition=Q(amount__gte=0)),
        ]

    def __str__(self) -> str:
        return f"{self.town}: {self.amount}"


class Tax(models.Model):
    """One tax, on work, on materials, on travel or on all of them."""

    price_list = models.ForeignKey(PriceList, on_delete=models.CASCADE, related_name="taxes")
    name = models.CharField(max_length=40)
    percent = percentage_field()
    on_work = models.BooleanField(default=True)
    on_materials = models.BooleanField(default=True)
    on_travel = models.BooleanField(default=True)

    class Meta:
        verbose_name_plural = "taxes"
        ordering = ["price_list_id", "id"]
        constraints = [
            models.UniqueConstraint("price_list", Lower("name"), name="tax_once_a_list"),
            models.CheckConstraint(
                name="tax_is_a_percentage", condition=Q(percent__gte=0, percent__lte=100)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.percent.normalize():f} %"


class Pack(models.Model):
    """A size in which a product is sold, and what it costs the business."""

    product = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="packs")
    litres = models.DecimalField(max_digits=7, decimal_places=3)
    price = money_field("price paid")
    is_active = models.BooleanField("still sold", default=True)

    class Meta:
        ordering = ["product_id", "litres"]
        constraints = [
            models.UniqueConstraint(fields=["product", "litres"], name="pack_once_a_size"),
            models.CheckConstraint(
                name="pack_holds_something", condition=Q(litres__gt=0, price__gte=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product}, {self.litres.normalize():f} L"


class TinQuerySet(models.QuerySet["StockTin"]):
    def in_stock(self) -> "TinQuerySet":
        """Tins with something in them, the longest noted first: they are used first."""
        return self.filter(used_up_at=None, litres__gt=0).order_by("noted_on", "id")


class StockTin(models.Model):
    """An opened or full tin on the shelf; what is left in it is used before anything is bought."""

    product = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="tins")
    batch = models.ForeignKey(
        Batch, null=True, blank=True, on_delete=models.SET_NULL, related_name="tins"
    )
    colour = models.CharField(max_length=80, blank=True)
    litres = models.DecimalField("litres left", max_digits=7, decimal_places=2)
    noted_on = models.DateField()
    used_up_at = models.DateTimeField(null=True, blank=True)
    form_key = models.UUIDField(
        null=True,
        unique=True,
        editable=False,
        help_text="A second click puts no second can on the shelf.",
    )

    objects = TinQuerySet.as_manager()

    class Meta:
        ordering = ["product_id", "noted_on", "id"]
        constraints = [
            models.CheckConstraint(name="tin_not_negative", condition=Q(litres__gte=Decimal(0)))
        ]

    def __str__(self) -> str:
        return f"{self.product} {self.colour}, {self.litres} L left"

    def is_expired(self, *, today: date) -> bool:
        """Past the date of its batch."""
        return bool(self.batch and self.batch.expires_on and self.batch.expires_on < today)

    def is_stale(self, *, today: date) -> bool:
        """Nobody has looked into it for a year."""
        return today - self.noted_on > TIN_STALE_AFTER
