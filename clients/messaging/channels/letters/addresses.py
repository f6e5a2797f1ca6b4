"""The lines of an address as they stand in the window:
the name, then two or three lines, the country only abroad."""

from dataclasses import dataclass

from clients.messaging.models import Message
from clients.models import Business, Client, Property
from clients.notation import countries, postal


@dataclass(frozen=True)
class PostalAddress:
    """An address in its parts."""

    street: str
    town: str
    region: str
    postcode: str
    country: str


def window_lines(business: Business, message: Message) -> list[str]:
    """What is printed in the window. The address is the one frozen with the message;
    its parts come from the client's page as long as they still say the same."""
    return [message.client.spoken_name, *address_lines(business, message)]


def address_lines(business: Business, message: Message) -> list[str]:
    place = current_postal_address(message) or parse_address(message.address)
    lines = [
        *(part.strip() for part in place.street.splitlines() if part.strip()),
        *postal.town_lines(
            town=place.town, region=place.region, postcode=place.postcode, country=place.country
        ),
    ]
    abroad = place.country and place.country != business.country
    return [*lines, country_name(place.country).upper()] if abroad else lines


def current_postal_address(message: Message) -> PostalAddress | None:
    """The client's own postal address or property, if that is what was frozen."""
    client = message.client
    if client.own_postal_address:
        is_frozen = client.own_postal_address == message.address
        return own_postal_address(client) if is_frozen else None
    known = (each for each in client.properties.all() if each.is_street_known)
    home: Property | None = min(known, key=lambda each: each.pk, default=None)
    if home is None or home.postal_address != message.address:
        return None
    return PostalAddress(home.street, home.town, home.region, home.postcode, home.country)


def own_postal_address(client: Client) -> PostalAddress:
    return PostalAddress(
        client.postal_street,
        client.postal_town,
        client.postal_region,
        client.postal_postcode,
        client.postal_country,
    )


def parse_address(address: str) -> PostalAddress:
    """The street before the first comma, two letters at the end are a country;
    the rest stays together."""
    street, *rest = [
        part.strip() for part in address.replace("\n", ", ").split(",") if part.strip()
    ]
    country = rest.pop() if rest and len(rest[-1]) == 2 and rest[-1].isupper() else ""
    return PostalAddress(street, " ".join(rest), "", "", country)


def country_name(country: str) -> str:
    return dict(countries.country_choices()).get(country, country)
