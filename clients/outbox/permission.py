"""May this client be written to? Asked when a message is planned, when it is claimed and right before it goes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import connection

from clients import suppression
from clients.models import Business, Client, Consent, ContactPoint, Message
from clients.models.channel import Channel

KINDS: dict[str, list[str]] = {Channel.EMAIL: ["email"], Channel.TEXT: ["mobile"], Channel.CALL: ["mobile", "phone"]}

# One rule in SQL, so that the last look and the step to "transmitting" are one statement. A withdrawal always has the
# last word over an earlier consent; about a booked visit we may write without consent, to a suppressed address never.
WHY_NOT = """CASE
    WHEN m.expires_at <= now() THEN 'expired'
    WHEN EXISTS (SELECT FROM clients_client WHERE id = m.client_id AND archived_at IS NOT NULL) THEN 'archived'
    WHEN EXISTS (SELECT FROM clients_suppression s WHERE s.channel = m.channel AND s.address_hash = {hash})
        THEN 'suppressed'
    WHEN EXISTS (SELECT FROM clients_contactpoint p WHERE p.client_id = m.client_id AND p.suspended_at IS NOT NULL
        AND p.normalized IN ({normalized}, lower(m.address))) THEN 'suspended'
    WHEN m.kind <> 'service' AND NOT coalesce((SELECT c.is_given AND (c.expires_on IS NULL OR c.expires_on >= {today})
        FROM clients_consent c WHERE c.client_id = m.client_id AND c.channel = m.channel
        ORDER BY c.recorded_at DESC, c.id DESC LIMIT 1), false) THEN 'consent'
END"""
TODAY = "(SELECT (now() AT TIME ZONE time_zone)::date FROM clients_business)"
WHY_NOT_EACH = f"""
SELECT m.id, {WHY_NOT.format(hash="a.hash", normalized="a.normalized", today=TODAY)}
FROM clients_message m JOIN unnest(%s::bigint[], %s::text[], %s::text[]) AS a(id, hash, normalized) USING (id)
"""  # noqa: S608 - made of constants
WORDS = {
    "expired": "It was not sent in time.",
    "archived": "The client is archived.",
    "suppressed": "This address asked not to be written to.",
    "suspended": "The address is suspended.",
    "consent": "There is no consent in force.",
}


@dataclass(frozen=True)
class Contactable:
    """Where to write to, and what allows it."""

    address: str
    consent: Consent
    basis: str


@dataclass(frozen=True)
class Refusal:
    """Why somebody may not be written to, in words."""

    why: str


def contactable(client: Client, channel: str, *, today: date) -> Contactable | Refusal:
    """The address to use by this channel and the consent in force, or why not."""
    if client.archived_at:
        return Refusal(WORDS["archived"])
    consent = client.consents.filter(channel=channel).first()
    if consent is None or not consent.is_in_force(today=today):
        return Refusal(why_no_consent(consent))
    address = address_for(client, channel)
    if not address:
        return Refusal(why_no_address(client, channel))
    business = Business.objects.get()
    if suppression.suppressed(business=business, channel=channel, addresses=[address]):
        return Refusal(WORDS["suppressed"])
    return Contactable(address, consent, consent.basis)


def why_no_consent(newest: Consent | None) -> str:
    if newest is None:
        return "There is no consent on record."
    return f"The consent ran out on {newest.expires_on}." if newest.is_given else "The client withdrew consent."


def address_for(client: Client, channel: str) -> str:
    """The preferred usable address of this channel, empty if there is none."""
    if channel == Channel.LETTER:
        return postal_address(client)
    points = (client.contact(kind) for kind in KINDS.get(channel, []))
    point = next(filter(None, points), None)
    if point is None:
        return ""
    return point.value.strip() if channel == Channel.EMAIL else point.normalized


def postal_address(client: Client) -> str:
    """Where letters go: the client's own postal address, else the oldest property."""
    if client.postal_street:
        place = " ".join(filter(None, [client.postal_town, client.postal_region, client.postal_postcode]))
        return ", ".join(filter(None, [client.postal_street, place, client.postal_country]))
    home = min(client.properties.all(), key=lambda each: each.pk, default=None)
    return ", ".join(filter(None, [home.address, home.postcode, home.country])) if home else ""


def why_no_address(client: Client, channel: str) -> str:
    kinds = KINDS.get(channel, [])
    suspended = [point for point in client.contact_points.all() if point.kind in kinds and point.suspended_at]
    if suspended:
        return f"The address is suspended: {suspended[0].suspended_why or 'no reason noted'}."
    return {"email": "There is no e-mail address.", "letter": "There is no postal address."}.get(
        channel, f"There is no {ContactPoint.Kind.MOBILE.label.lower()} number."
    )


def why_not(business: Business, messages: Sequence[Message]) -> dict[int, str]:
    """Of these messages, those that may not go now, each with the reason in words."""
    columns: list[list[Any]] = [
        [message.pk for message in messages],
        [suppression.address_hash(business, each.channel, each.address) for each in messages],
        [suppression.normalize(each.channel, each.address) for each in messages],
    ]
    with connection.cursor() as cursor:
        cursor.execute(WHY_NOT_EACH, columns)
        return {pk: WORDS[word] for pk, word in cursor.fetchall() if word}
