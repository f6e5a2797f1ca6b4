"""A deck: what it is made of and what wears its finish."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db import connection, models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy as _

from clients.models.property import Property


class Species(models.TextChoices):
    """Timber by trade name; the class decides how fast a finish wears (see `SPECIES_CLASS`)."""

    UNKNOWN = "unknown", _("Wood not known")
    TREATED_PINE = "treated_pine", _("Treated pine")
    SPRUCE = "spruce", _("Spruce")
    DOUGLAS_FIR = "douglas_fir", _("Douglas fir")
    LARCH = "larch", _("Larch")
    CYPRESS = "cypress", _("Cypress pine")
    RED_CEDAR = "red_cedar", _("Western red cedar")
    WHITE_CEDAR = "white_cedar", _("Eastern white cedar")
    REDWOOD = "redwood", _("Redwood")
    OAK = "oak", _("Oak")
    TEAK = "teak", _("Teak")
    IPE = "ipe", _("Ipe")
    CUMARU = "cumaru", _("Cumaru")
    MERBAU = "merbau", _("Merbau (kwila)")
    JARRAH = "jarrah", _("Jarrah")
    SPOTTED_GUM = "spotted_gum", _("Spotted gum")
    BLACKBUTT = "blackbutt", _("Blackbutt")
    MODIFIED = "modified", _("Heat-treated or acetylated wood")
    OTHER_SOFTWOOD = "other_softwood", _("Other softwood")
    OTHER_HARDWOOD = "other_hardwood", _("Other hardwood")


class Surface(models.TextChoices):
    """A part of a deck that takes a finish: coated, worn and due by itself."""

    BOARDS = "boards", _("Deck boards")
    STAIRS = "stairs", _("Stairs")
    RAILS = "rails", _("Railing")
    SCREENS = "screens", _("Privacy screens")


def ordered_surfaces(names: Iterable[str]) -> list[str]:
    """Each of them once, the boards first."""
    chosen = set(names)
    return [name for name in Surface.values if name in chosen]


def say_surfaces(names: Iterable[str]) -> str:
    """“Deck boards, railing”."""
    labels = [str(Surface(name).label) for name in ordered_surfaces(names)]
    return ", ".join([*labels[:1], *(label[:1].lower() + label[1:] for label in labels[1:])])


SPECIES_CLASS = {
    **dict.fromkeys(
        ["treated_pine", "spruce", "douglas_fir", "larch", "cypress", "other_softwood"], "soft"
    ),
    **dict.fromkeys(["red_cedar", "white_cedar", "redwood"], "durable_soft"),
    **dict.fromkeys(
        [
            "oak",
            "teak",
            "ipe",
            "cumaru",
            "merbau",
            "jarrah",
            "spotted_gum",
            "blackbutt",
            "other_hardwood",
        ],
        "hardwood",
    ),
    "modified": "modified",
}
# Soft species that a close water jet furs and gouges (common practice, no source).
JET_SENSITIVE_SPECIES = {
    "treated_pine",
    "cypress",
    "spruce",
    "red_cedar",
    "white_cedar",
    "redwood",
    "other_softwood",
}


# The size of a deck and its spread while no deck has one (judgement).
USUAL_AREA_M2 = 20.0
USUAL_AREA_CV = 0.5


@dataclass(frozen=True)
class UsualSize:
    """The middle area of decks [m²] and its spread against it, for planning with decks whose size
    nobody knows; never a fact about one of them."""

    area_m2: float = USUAL_AREA_M2
    cv: float = USUAL_AREA_CV


SHADE_FIELDS = ("summer_shade_percent", "winter_shade_percent")


def with_both_shades(shades: Mapping[str, int | None]) -> dict[str, int | None]:
    """Per cent by field: the half of the year of which nothing was said has none, where the other
    is known."""
    is_known = any(shades.get(name) is not None for name in SHADE_FIELDS)
    return {name: (shades.get(name) or 0) if is_known else None for name in SHADE_FIELDS}


class DeckQuerySet(models.QuerySet["Deck"]):
    def usual_size(self) -> UsualSize:
        """Of the decks whose size is known: their median, and half their middle two thirds."""
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT percentile_cont(ARRAY[0.16, 0.5, 0.84]) WITHIN GROUP (ORDER BY area_m2)"
                " FROM clients_deck WHERE archived_at IS NULL AND area_m2 IS NOT NULL"
            )
            found = cursor.fetchone()[0]
        if found is None:
            return UsualSize()
        low, middle, high = map(float, found)
        return UsualSize(middle, (high - low) / 2 / middle)

    def current(self) -> "DeckQuerySet":
        """Neither the deck nor its client is archived."""
        return self.filter(archived_at=None, site__client__archived_at=None)

    def with_owner(self) -> "DeckQuerySet":
        return self.select_related("site__client")


class Deck(models.Model):
    """One deck of a property, with the exposure that the forecast reads."""

    class Texture(models.TextChoices):
        SMOOTH = "smooth", "Smooth"
        SAWN = "sawn", "Rough sawn or grooved"
        WEATHERED = "weathered", "Weathered"

    class Airflow(models.TextChoices):
        OPEN = "open", "Open below"
        POOR = "poor", "Close to the ground or boxed in"

    class Traffic(models.TextChoices):
        LIGHT = "light", "Light"
        HOUSEHOLD = "household", "Household"
        HEAVY = "heavy", "Heavy (pets, parties, rental)"

    class Salt(models.TextChoices):
        NONE = "none", "No"
        NEAR = "near", "Within 1 km of the surf"
        SPRAY = "spray", "In the spray"

    class Litter(models.TextChoices):
        NONE = "none", "None"
        SOME = "some", "Some leaves"
        HEAVY = "heavy", "Leaves lie for weeks"

    site = models.ForeignKey(
        Property,
        on_delete=models.PROTECT,
        db_column="property_id",
        verbose_name="property",
        related_name="decks",
    )
    label = models.CharField(max_length=80, default="Deck", help_text="Such as Back deck.")
    area_m2 = models.DecimalField(
        "area",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Deck boards; empty while the size is not known.",
    )
    rail_m = models.DecimalField("rail length", max_digits=7, decimal_places=2, default=0)
    stair_treads = models.PositiveSmallIntegerField(default=0)
    screen_m2 = models.DecimalField(
        "screens", max_digits=7, decimal_places=2, default=0, db_default=0
    )
    height_m = models.DecimalField(
        "height above ground", max_digits=5, decimal_places=2, null=True, blank=True
    )
    built_year = models.PositiveSmallIntegerField(null=True, blank=True)
    species = models.CharField(max_length=20, choices=Species.choices, default=Species.UNKNOWN)
    texture = models.CharField(max_length=10, choices=Texture.choices, default=Texture.SMOOTH)
    roof_percent = models.PositiveSmallIntegerField(
        "under a roof", default=0, help_text="Per cent of the deck."
    )
    summer_shade_percent = models.PositiveSmallIntegerField(
        "shade in summer",
        null=True,
        blank=True,
        help_text="Per cent of the sun that trees or walls take away; empty while not known.",
    )
    winter_shade_percent = models.PositiveSmallIntegerField(
        "shade in winter", null=True, blank=True
    )
    orientation_deg = models.PositiveSmallIntegerField(
        "open side faces",
        null=True,
        blank=True,
        help_text="Compass bearing, 0 to 359; empty if open all round.",
    )
    airflow = models.CharField(max_length=6, choices=Airflow.choices, default=Airflow.OPEN)
    traffic = models.CharField(max_length=10, choices=Traffic.choices, default=Traffic.HOUSEHOLD)
    salt = models.CharField("sea air", max_length=6, choices=Salt.choices, default=Salt.NONE)
    pool = models.BooleanField("beside a pool", default=False)
    litter = models.CharField("leaves", max_length=6, choices=Litter.choices, default=Litter.NONE)
    notes = models.TextField(blank=True, max_length=20_000)
    created_at = models.DateTimeField(db_default=Now())
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = DeckQuerySet.as_manager()

    class Meta:
        ordering = ["site__client__name", "site_id", "label", "id"]
        indexes = [  # by these a list of all decks leaves them out
            models.Index(fields=["id"], condition=~Q(archived_at=None), name="deck_archived")
        ]
        constraints = [
            models.UniqueConstraint(fields=["site", "label"], name="deck_label_once_a_property"),
            models.CheckConstraint(name="deck_area_positive", condition=Q(area_m2__gt=0)),
            models.CheckConstraint(name="deck_rail_not_negative", condition=Q(rail_m__gte=0)),
            models.CheckConstraint(name="deck_screens_not_negative", condition=Q(screen_m2__gte=0)),
            models.CheckConstraint(name="deck_roof_is_a_share", condition=Q(roof_percent__lte=100)),
            models.CheckConstraint(
                name="deck_shade_is_a_share",
                condition=Q(summer_shade_percent__lte=100, winter_shade_percent__lte=100),
            ),
            models.CheckConstraint(
                name="deck_shade_known_all_year",
                condition=Q(summer_shade_percent=None, winter_shade_percent=None)
                | Q(summer_shade_percent__isnull=False, winter_shade_percent__isnull=False),
            ),
            models.CheckConstraint(
                name="deck_orientation_on_the_compass",
                condition=Q(orientation_deg=None) | Q(orientation_deg__lt=360),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label}, {self.site.street}"

    @property
    def species_class(self) -> str:
        """soft, durable_soft, hardwood or modified; empty while the timber is not known."""
        return SPECIES_CLASS.get(self.species, "")

    @property
    def surfaces(self) -> list[str]:
        """Those that it has by its measures, the boards first; every deck has boards."""
        sizes = {"stairs": self.stair_treads, "rails": self.rail_m, "screens": self.screen_m2}
        return ["boards", *(name for name, size in sizes.items() if size)]

    @property
    def is_species_known(self) -> bool:
        return self.species != Species.UNKNOWN

    @property
    def is_jet_sensitive(self) -> bool:
        """Whether a close water jet harms this timber."""
        return self.species in JET_SENSITIVE_SPECIES
