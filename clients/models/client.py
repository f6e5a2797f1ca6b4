"""Clients and the ways to reach them."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now, Upper

from clients.models.channel import Channel

MOST_WORDS_OF_FAMILY_NAME = 3  # “de la Cruz”
MOST_WORDS_OF_FIRST_NAMES = 4  # “Anna Maria & Tom”
AFTER_A_NAME = frozenset(
    "inc inc. incorporated ltd ltd. ltée ltee limited llc llp co co. corp corp. company gmbh sarl"
    " enr enr. plc jr jr. sr sr. ii iii iv md phd esq esq.".split()
)


NO_FAMILY = AFTER_A_NAME | frozenset(
    "church parish school college hotel inn lodge motel club society association committee council"
    " town village city county municipality department office library museum park marina trust"
    " église paroisse école ville municipalité auberge hôtel".split()
)


def name_as_spoken(name: str) -> str:
    """“Young, Jack” turned round to “Jack Young”; any other name as it is.

    It is turned only where one comma parts a few words that can be the names of people: not
    “Marlow & Sons, Inc.”, and not a place behind an institution.
    """
    family, comma, first = (part.strip() for part in name.partition(","))
    families, firsts = family.split(), first.split()
    is_person = (
        comma
        and "," not in first
        and 1 <= len(families) <= MOST_WORDS_OF_FAMILY_NAME
        and 1 <= len(firsts) <= MOST_WORDS_OF_FIRST_NAMES
        and not any(letter.isdigit() for letter in name)
        and not AFTER_A_NAME.intersection(word.lower() for word in firsts)
        and "&" not in family
        and not NO_FAMILY.intersection(word.lower() for word in families)
    )
    return f"{first} {family}" if is_person else name


class ClientQuerySet(models.QuerySet["Client"]):
    def current(self) -> "ClientQuerySet":
        """Not archived."""
        return self.filter(archived_at=None)


class Client(models.Model):
    """A person or household, company or body that owns one or more decks."""

    name = models.CharField(max_length=200)
    salutation = models.CharField(
        max_length=120, blank=True, help_text="How a letter greets them; empty means the name."
    )
    language = models.CharField(
        max_length=12, blank=True, help_text="Empty means the language of the business."
    )
    preferred_channel = models.CharField(
        "how they like to hear from us",
        max_length=6,
        choices=Channel.choices,
        blank=True,
        help_text="Tried before the channels of a reminder step; empty means as the step says.",
    )
    postal_street = models.CharField(
        max_length=200, blank=True, help_text="Only if letters go elsewhere than the deck."
    )
    postal_town = models.CharField(max_length=120, blank=True)
    postal_region = models.CharField(max_length=120, blank=True)
    postal_postcode = models.CharField(max_length=20, blank=True)
    postal_country = models.CharField(max_length=2, blank=True)
    notes = models.TextField(blank=True, max_length=20_000)
    created_at = models.DateTimeField(db_default=Now())
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ClientQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        constraints = [models.CheckConstraint(name="client_has_a_name", condition=~Q(name=""))]
        indexes = [
            models.Index(Upper("name"), "id", name="client_by_name"),
            models.Index(
                fields=["name", "id"], condition=Q(archived_at=None), name="client_in_order"
            ),
            models.Index(fields=["id"], condition=~Q(archived_at=None), name="client_archived"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def spoken_name(self) -> str:
        """As one says it: lists of old have “Young, Jack”."""
        return name_as_spoken(self.name)

    @property
    def greeting(self) -> str:
        return self.salutation or self.spoken_name

    @property
    def own_postal_address(self) -> str:
        """Where letters go instead of the deck, on one line; empty if nothing was entered."""
        if not self.postal_street:
            return ""
        place = " ".join(filter(None, [self.postal_town, self.postal_region, self.postal_postcode]))
        return ", ".join(filter(None, [self.postal_street, place, self.postal_country]))


class ContactPoint(models.Model):
    """An e-mail address or a telephone number of a client."""

    class Kind(models.TextChoices):
        EMAIL = "email", "E-mail"
        MOBILE = "mobile", "Mobile phone"
        PHONE = "phone", "Other phone"

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="contact_points")
    kind = models.CharField(max_length=6, choices=Kind.choices)
    value = models.CharField(max_length=254, help_text="As the client writes it.")
    normalized = models.CharField(max_length=254, help_text="E.164 number or lower-case address.")
    label = models.CharField(max_length=60, blank=True)
    is_preferred = models.BooleanField(default=False)
    suspended_at = models.DateTimeField(null=True, blank=True)
    suspended_why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-is_preferred", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["client", "kind", "normalized"], name="contact_point_once_a_client"
            ),
            models.UniqueConstraint(
                fields=["client", "kind"],
                condition=Q(is_preferred=True),
                name="one_preferred_contact_point_a_kind",
            ),
            models.CheckConstraint(
                name="contact_point_normalized",
                condition=Q(kind="email", normalized__regex=r"^[^@\s<>,;]+@[^@\s<>,;]+$")
                | Q(
                    kind__in=["mobile", "phone"],
                    normalized__regex=r"^\+[0-9]{4,15}(;ext=[0-9]{1,7})?$",
                ),
            ),
        ]
        indexes = [models.Index(fields=["normalized"], name="contact_point_by_value")]

    def __str__(self) -> str:
        return self.value
