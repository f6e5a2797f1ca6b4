"""Where decks stand: properties, the offline table of towns, and what the owner knows better about
the weather."""

from zoneinfo import ZoneInfo

from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.indexes import GinIndex, OpClass
from django.db import connection, models
from django.db.models import Q
from django.db.models.functions import Now, Upper

from clients.models.client import Client
from clients.notation import postal, validate_time_zone

ON_EARTH = Q(latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180)


class Place(models.Model):
    """A town of the offline table (GeoNames, CC BY 4.0); loaded by `manage.py load_places`."""

    geoname_id = models.IntegerField(primary_key=True)
    name = models.CharField(max_length=200)
    ascii_name = models.CharField(max_length=200)
    region = models.CharField(max_length=120, blank=True)
    country = models.CharField(max_length=2)
    latitude = models.FloatField()
    longitude = models.FloatField()
    time_zone = models.CharField(max_length=60)
    population = models.IntegerField(default=0)

    class Meta:
        indexes = [
            GinIndex(OpClass(Upper("ascii_name"), name="gin_trgm_ops"), name="place_name_trigrams"),
            models.Index(fields=["country"], name="place_by_country"),
        ]

    def __str__(self) -> str:
        return ", ".join(part for part in (self.name, self.region, self.country) if part)


# From each town to the next by the index: as many looks as there are towns, however many rows.
TOWN_NAMES_SQL = """
WITH RECURSIVE named (town) AS (
    (SELECT town FROM clients_property ORDER BY town LIMIT 1)
    UNION ALL
    SELECT (SELECT p.town FROM clients_property p WHERE p.town > named.town ORDER BY p.town LIMIT 1)
    FROM named WHERE named.town IS NOT NULL
)
SELECT town FROM named WHERE town IS NOT NULL
"""

STREET_NOT_KNOWN = "Street not known"  # as an old list may have it: no letter arrives there


class PropertyQuerySet(models.QuerySet["Property"]):
    def town_names(self) -> list[str]:
        """Of all properties, in the order of the letters."""
        with connection.cursor() as cursor:
            cursor.execute(TOWN_NAMES_SQL)
            return sorted(town for (town,) in cursor.fetchall())


class Property(models.Model):
    """An address with one or more decks."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="properties")
    street = models.CharField(max_length=200)
    town = models.CharField(max_length=120)
    region = models.CharField("province, state or region", max_length=120, blank=True)
    postcode = models.CharField(max_length=20, blank=True)
    country = models.CharField(max_length=2)
    latitude = models.FloatField(help_text="Degrees, north positive.")
    longitude = models.FloatField(help_text="Degrees, east positive.")
    time_zone = models.CharField(max_length=60, validators=[validate_time_zone])
    travel_km = models.DecimalField(
        "distance by road",
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="One way from the yard; empty means an estimate.",
    )
    access_notes = models.TextField(
        blank=True, max_length=5_000, help_text="Gate, dog, water tap, power."
    )
    created_at = models.DateTimeField(db_default=Now())

    objects = PropertyQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "properties"
        ordering = ["town", "street", "id"]
        indexes = [models.Index(fields=["town"], name="property_by_town")]
        constraints = [
            models.CheckConstraint(name="property_on_earth", condition=ON_EARTH),
            models.CheckConstraint(
                name="property_country_two_letters", condition=Q(country__regex=r"^[A-Z]{2}$")
            ),
            models.CheckConstraint(name="property_has_a_street", condition=~Q(street="")),
        ]

    def __str__(self) -> str:
        return self.address

    @property
    def is_south(self) -> bool:
        """Whether its summer is in December: south of the equator."""
        return self.latitude < 0

    @property
    def address(self) -> str:
        return ", ".join(part for part in (self.street, self.town, self.region) if part)

    @property
    def is_street_known(self) -> bool:
        return self.street != STREET_NOT_KNOWN

    @property
    def town_lines(self) -> list[str]:
        """What stands under the street on paper."""
        return postal.town_lines(
            town=self.town, region=self.region, postcode=self.postcode, country=self.country
        )

    @property
    def postal_address(self) -> str:
        """As a letter to it is addressed, on one line."""
        return ", ".join(filter(None, [self.address, self.postcode, self.country]))

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class LocalNormals(models.Model):
    """What the owner entered about the weather of a town, in place of the estimate."""

    town = models.CharField(max_length=120)
    region = models.CharField(max_length=120, blank=True)
    country = models.CharField(max_length=2)
    wet_days = ArrayField(
        models.FloatField(), size=12, help_text="Days with rain in each month, January first."
    )
    source = models.CharField(max_length=200, help_text="Where the numbers are from.")

    class Meta:
        verbose_name_plural = "local normals"
        constraints = [
            models.UniqueConstraint(
                fields=["town", "region", "country"], name="local_normals_once_a_town"
            ),
            models.CheckConstraint(
                name="local_normals_twelve_months", condition=Q(wet_days__len=12)
            ),
        ]

    def __str__(self) -> str:
        return f"Wet days of {self.town}"
