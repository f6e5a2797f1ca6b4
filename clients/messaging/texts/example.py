"""Values to try a text with: a real client's name and decks, and examples for what only a real
occasion has."""

from datetime import date, time
from decimal import Decimal

from babel.dates import format_date, format_time
from babel.numbers import format_currency
from django.utils.translation import gettext

from clients import display
from clients.display import locale_for_language
from clients.messaging.texts.standard import MESSAGE_FIELDS, fields_of
from clients.models import Business, Client, traits_of

BUSINESS_FIELDS = {
    "business",
    "legal_name",
    "phone",
    "email",
    "website",
    "postal_address",
    "find_us",
    "because",
    "stop_line",
    "unsubscribe_url",
    "advertisement",
}


def example_fields(
    client: Client | None, *, purpose: str, channel: str, language: str, business: Business
) -> dict[str, str]:
    """A value for each field that is not the business's own."""
    values = {
        name: MESSAGE_FIELDS[name].sample
        for name in fields_of(purpose, channel)
        if name not in BUSINESS_FIELDS
    }
    values |= {
        name: value for name, value in example_dates(language, business).items() if name in values
    }
    if client is None:
        return values | ({"decks": short_deck_sample()} if traits_of(channel).on_one_line else {})
    return (
        values
        | {"greeting": client.greeting}
        | ({"decks": found} if (found := example_decks(client, channel)) else {})
    )


def short_deck_sample() -> str:
    return MESSAGE_FIELDS["decks"].sample.partition("\n")[0]


def example_decks(client: Client, channel: str) -> str:
    """Label and place of each deck: a paragraph each, or all on one line."""
    is_short = traits_of(channel).on_one_line
    found = []
    for place in client.properties.all():
        for deck in place.decks.all():
            if not deck.archived_at:
                found.append(
                    f"{deck.label}, {place.street}"
                    if is_short
                    else f"{deck.label}, {place.address}"
                )
    return ", ".join(found) if is_short else "\n\n".join(found)


def example_dates(language: str, business: Business) -> dict[str, str]:
    """Days, times and money as this language writes them."""
    locale = locale_for_language(language, business)
    with display.in_client_language(language):
        about = gettext("about {time}")
    return {
        "due_by": format_date(date(2027, 3, 1), "MMMM y", locale),
        "valid_until": format_date(date(2027, 4, 30), "medium", locale),
        "visit_day": format_date(date(2027, 5, 11), "full", locale),
        "visit_time": about.format(time=format_time(time(8), "short", locale=locale)),
        "say_no_by": format_date(date(2027, 4, 27), "full", locale),
        "total": format_currency(Decimal("684.25"), business.currency, locale=locale),
        "plan_price": format_currency(Decimal("684.25"), business.currency, locale=locale),
    }
