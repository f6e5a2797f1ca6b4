"""The lines of an address as they stand in the window: the name, then two or three lines, the country only abroad."""

from dataclasses import dataclass

from clients import countries
from clients.messaging.models import Message
from clients.messaging.outbox.permission import postal_address
from clients.models import Business, Client, Property

# Postcode before the town, as the Universal Postal Union's addressing pages give it for these countries (from memory).
POSTCODE_FIRST = set("AT BE CH CZ DE DK ES FI FR HU IS IT LI LU NL NO PL PT SE SK SI HR EE LT GR IL TR BR MX".split())
OWN_LINE = {"GB", "IE"}  # the postcode stands alone (Royal Mail; from memory)


@dataclass(frozen=True)
class Place:
    """An address in its parts."""

    street: str
    town: str
    region: str
    postcode: str
    country: str


def lines_of(business: Business, message: Message) -> list[str]:
    """What is printed in the window. The address is the one frozen with the message; its parts come from the client's
    page as long as they still say the same."""
    return [message.client.name, *place_lines(business, message)]


def place_lines(business: Business, message: Message) -> list[str]:
    place = place_of(message) or taken_apart(message.address)
    lines = [*(part.strip() for part in place.street.splitlines() if part.strip()), *town_lines(place)]
    abroad = place.country and place.country != business.country
    return [*lines, name_of(place.country).upper()] if abroad else lines


def town_lines(place: Place) -> list[str]:
    if place.country in OWN_LINE:
        return list(filter(None, [place.town, place.region, place.postcode]))
    parts = [place.town, place.region, place.postcode]
    if place.country in POSTCODE_FIRST:
        parts = [place.postcode, place.town]
    return list(filter(None, [" ".join(filter(None, parts))]))


def place_of(message: Message) -> Place | None:
    """The client's own postal address or property, if that is what was frozen."""
    client = message.client
    if postal_address(client) != message.address:
        return None
    if client.postal_street:
        return own_place(client)
    home: Property = min(client.properties.all(), key=lambda each: each.pk)
    return Place(home.street, home.town, home.region, home.postcode, home.country)


def own_place(client: Client) -> Place:
    return Place(
        client.postal_street, client.postal_town, client.postal_region, client.postal_postcode, client.postal_country
    )


def taken_apart(address: str) -> Place:
    """The street before the first comma, two letters at the end are a country; the rest stays together."""
    street, *rest = [part.strip() for part in address.replace("\n", ", ").split(",") if part.strip()]
    country = rest.pop() if rest and len(rest[-1]) == 2 and rest[-1].isupper() else ""
    return Place(street, " ".join(rest), "", "", country)


def name_of(country: str) -> str:
    return dict(countries.choices()).get(country, country)
