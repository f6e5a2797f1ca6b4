"""Values to try a text with: a real client's name and decks, and examples for what only a real occasion has."""

from clients.models import Client
from clients.models.channel import Channel
from clients.texts.fields import FIELDS, fields_of

OURS = {
    "business", "legal_name", "phone", "email", "website", "postal_address", "find_us", "because", "stop_line",
    "unsubscribe_url",
}  # fmt: skip


def example(client: Client | None, *, purpose: str, channel: str) -> dict[str, str]:
    """A value for each field that is not the business's own."""
    values = {name: FIELDS[name].sample for name in fields_of(purpose, channel) if name not in OURS}
    if client is None:
        return values | ({"decks": short_sample()} if channel in {Channel.TEXT, Channel.CALL} else {})
    return values | {"greeting": client.greeting} | ({"decks": found} if (found := decks_of(client, channel)) else {})


def short_sample() -> str:
    return FIELDS["decks"].sample.partition("\n")[0]


def decks_of(client: Client, channel: str) -> str:
    """Label and place of each deck: a paragraph each, or all on one line."""
    is_short = channel in {Channel.TEXT, Channel.CALL}
    found = []
    for place in client.properties.all():
        for deck in place.decks.all():
            if not deck.archived_at:
                found.append(f"{deck.label}, {place.street}" if is_short else f"{deck.label}, {place.address}")
    return ", ".join(found) if is_short else "\n\n".join(found)
