"""Products as their data sheets describe them, and the batches that came into the van."""

from django.contrib.postgres.expressions import ArraySubquery
from django.db import models
from django.db.models import OuterRef, Q, Subquery
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from jobs.can_codes import GTIN_DIGITS, printed_can_code


class FinishClass(models.TextChoices):
    """How a finish protects and how it fails; the forecast's first question."""

    CLEAR_REPELLENT = "clear_repellent", _("Clear water repellent")
    PENETRATING_OIL = "penetrating_oil", _("Decking oil (penetrating)")
    REPELLENT_PRESERVATIVE = "repellent_preservative", _("Water-repellent preservative")
    TINTED = "tinted", _("Tinted deck finish")
    SEMITRANSPARENT = "semitransparent", _("Semitransparent stain")
    SOLID_FILM = "solid_film", _("Solid stain or paint (film)")
    CLEAR_FILM = "clear_film", _("Clear sealer or varnish (film)")


class ProductQuerySet(models.QuerySet["Product"]):
    def finishes(self) -> "ProductQuerySet":
        return self.filter(kind=Product.Kind.FINISH)

    def with_job_counts(self) -> "ProductQuerySet":
        """For the list: what is in use first, then by kind and name, with the number of jobs each
        went into."""
        one = Product.objects.filter(pk=OuterRef("pk")).order_by().values("pk")
        jobs = one.annotate(jobs=models.Count("coats_applied__job", distinct=True)).values("jobs")
        counted = self.annotate(jobs_count=Subquery(jobs))  # for each that a page shows, not of all
        return counted.order_by("-is_active", "kind", "name")

    def in_use(self) -> "ProductQuerySet":
        return self.filter(is_active=True)

    def with_can_codes(self) -> "ProductQuerySet":
        """Each with `gtins`, the codes on its cans."""
        codes = CanCode.objects.filter(product=OuterRef("pk")).order_by("gtin").values("gtin")
        return self.annotate(gtins=ArraySubquery(codes))  # type: ignore[no-redef] # that one


class Product(models.Model):
    """A stripper, cleaner, brightener or finish;
    defaults from its data sheet, which always overrides them."""

    class Kind(models.TextChoices):
        FINISH = "finish", "Finish"
        STRIPPER = "stripper", "Stripper"
        CLEANER = "cleaner", "Cleaner"
        BRIGHTENER = "brightener", "Brightener"

    class Base(models.TextChoices):
        WATER = "water", _("Water-borne")
        SOLVENT = "solvent", _("Solvent-borne")

    class Pigment(models.TextChoices):
        NONE = "none", "None"
        LIGHT = "light", "Light"
        DARK = "dark", "Dark"

    name = models.CharField(max_length=120)
    maker = models.CharField(max_length=120, blank=True)
    supplier = models.CharField(
        max_length=120, blank=True, help_text="Where you buy it, with their article number."
    )
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.FINISH)
    finish_class = models.CharField(max_length=24, choices=FinishClass.choices, blank=True)
    base = models.CharField(max_length=7, choices=Base.choices, default=Base.WATER)
    pigment = models.CharField(max_length=5, choices=Pigment.choices, default=Pigment.NONE)
    colours = models.CharField(max_length=500, blank=True, help_text="Separated by commas.")
    spread_m2_per_l = models.DecimalField(
        "spread rate a coat",
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="From the data sheet.",
    )
    film_mm = models.DecimalField(
        "wet film of one application, mm",
        max_digits=4,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="For strippers and brighteners: 1 mm is one litre a square metre.",
    )
    loss_percent = models.PositiveSmallIntegerField("lost in the tray and the tool", default=0)
    coats_usual = models.PositiveSmallIntegerField(default=2)
    recoat_hours = models.DecimalField(
        "hours between coats", max_digits=5, decimal_places=1, null=True, blank=True
    )
    walk_hours = models.DecimalField(
        "hours before walking", max_digits=5, decimal_places=1, null=True, blank=True
    )
    furniture_days = models.DecimalField(
        "days before furniture", max_digits=4, decimal_places=1, null=True, blank=True
    )
    dwell_minutes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="For strippers and brighteners."
    )
    minimum_c = models.DecimalField(
        "lowest temperature", max_digits=4, decimal_places=1, null=True, blank=True
    )
    maximum_c = models.DecimalField(
        "highest temperature", max_digits=4, decimal_places=1, null=True, blank=True
    )
    data_sheet_url = models.URLField(blank=True)
    cautions = models.TextField(blank=True, max_length=2_000)
    cautions_translated = models.JSONField(
        default=dict, blank=True, help_text="By language, for clients who read another one."
    )
    is_active = models.BooleanField("in use", default=True)

    objects = ProductQuerySet.as_manager()
    gtins: list[str]  # where they were asked for, by `with_can_codes`

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            models.UniqueConstraint(Lower("name"), Lower("maker"), name="product_once_a_maker"),
            models.CheckConstraint(
                name="finish_has_a_class",
                condition=(Q(kind="finish") & ~Q(finish_class=""))
                | (~Q(kind="finish") & Q(finish_class="")),
            ),
            models.CheckConstraint(
                name="product_spread_positive",
                condition=Q(spread_m2_per_l=None) | Q(spread_m2_per_l__gt=0),
            ),
            models.CheckConstraint(
                name="product_film_positive", condition=Q(film_mm=None) | Q(film_mm__gt=0)
            ),
            models.CheckConstraint(
                name="product_loss_is_a_share", condition=Q(loss_percent__lt=100)
            ),
            models.CheckConstraint(name="product_coats_positive", condition=Q(coats_usual__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name

    def cautions_in(self, language: str) -> str:
        """In this language, or as entered where nobody translated them."""
        found: str = self.cautions_translated.get(language, "")
        return found or self.cautions

    @property
    def colour_list(self) -> list[str]:
        return [colour.strip() for colour in self.colours.split(",") if colour.strip()]


class CanCode(models.Model):
    """The code on one size of can, by which a camera finds the product."""

    product = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="can_codes")
    gtin = models.CharField(max_length=GTIN_DIGITS, unique=True)

    class Meta:
        ordering = ["product_id", "gtin"]
        constraints = [
            models.CheckConstraint(
                name="can_code_has_14_digits", condition=Q(gtin__regex=r"^[0-9]{14}$")
            )
        ]

    def __str__(self) -> str:
        return f"{self.product} · {self.printed}"

    @property
    def printed(self) -> str:
        """As it stands on the can."""
        return printed_can_code(self.gtin)


class Batch(models.Model):
    """One production lot of a product, as printed on the tin."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="batches")
    code = models.CharField(max_length=60)
    received_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "batches"
        ordering = ["product_id", "-id"]
        constraints = [
            models.UniqueConstraint("product", Lower("code"), name="batch_once_a_product"),
            models.CheckConstraint(name="batch_has_a_code", condition=~Q(code="")),
        ]

    def __str__(self) -> str:
        return f"{self.product} · {self.code}"
