"""May this client be written to? Asked when a message is planned, when it is claimed and right
before it goes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from django.db import connection

from clients import display
from clients.messaging import suppression
from clients.messaging.law import NONE_NEEDED, LegalRule, LegalRules, countries_of
from clients.messaging.law.history import last_job_dates
from clients.messaging.models import Consent, Message
from clients.models import Business, Client, ContactPoint
from clients.models.channel import Channel

CONTACT_KINDS: dict[str, list[str]] = {
    Channel.EMAIL: ["email"],
    Channel.TEXT: ["mobile"],
    Channel.CALL: ["mobile", "phone"],
}

# One rule in SQL, so that the last look and the step to "transmitting" are one statement. A
# withdrawal always has the last word over an earlier consent; about a booked visit we may write
# without consent, to a suppressed address never, but for the one text message that confirms the
# word STOP (basis "stop", see clients/messaging/incoming/replies.py). What the law of the
# place allows was asked when the message was queued: a basis that runs out made it expire, and
# where no consent is needed only a withdrawal speaks against it.
REFUSAL_SQL = """CASE
    WHEN m.expires_at <= now() THEN 'expired'
    WHEN EXISTS (SELECT FROM clients_client WHERE id = m.client_id
        AND archived_at IS NOT NULL) THEN 'archived'
    WHEN m.basis <> 'stop' AND EXISTS
        (SELECT FROM clients_suppression s WHERE s.channel = m.channel
            AND s.address_hash = {hash}) THEN 'suppressed'
    WHEN EXISTS (SELECT FROM clients_contactpoint p WHERE p.client_id = m.client_id
        AND p.suspended_at IS NOT NULL
        AND p.normalized IN ({normalized}, lower(m.address))) THEN 'suspended'
    WHEN m.kind <> 'service' AND NOT coalesce((SELECT c.is_given
            AND (m.basis = 'none_needed' OR c.expires_on IS NULL OR c.expires_on >= {today})
        FROM clients_consent c WHERE c.client_id = m.client_id AND c.channel = m.channel
        ORDER BY c.recorded_at DESC, c.id DESC LIMIT 1), m.basis = 'none_needed') THEN 'consent'
END"""
TODAY_SQL = "(SELECT (now() AT TIME ZONE time_zone)::date FROM clients_business)"
EACH_REFUSAL_SQL = f"""
SELECT m.id, {REFUSAL_SQL.format(hash="a.hash", normalized="a.normalized", today=TODAY_SQL)}
FROM clients_message m JOIN unnest(%s::bigint[], %s::text[], %s::text[]) AS a(id, hash,
    normalized) USING (id)
"""  # noqa: S608 - made of constants
REFUSAL_REASONS = {
    "expired": "It was not sent in time.",
    "archived": "The client is archived.",
    "suppressed": "This address asked not to be written to.",
    "suspended": "The address is suspended.",
    "consent": "There is no consent in force.",
}


@dataclass(frozen=True)
class ContactPermission:
    """Where to write to, and what allows it; no consent where the law needs none."""

    address: str
    consent: Consent | None
    basis: str


@dataclass(frozen=True)
class Refusal:
    """Why somebody may not be written to, in words."""

    why: str


class ConsentEntry(Protocol):
    """The newest entry of the consent log for a client and channel."""

    @property
    def is_given(self) -> bool: ...

    @property
    def basis(self) -> str: ...

    @property
    def expires_on(self) -> date | None: ...

    @property
    def recorded_at(self) -> datetime: ...


def contact_permission(client: Client, channel: str, *, today: date) -> ContactPermission | Refusal:
    """The address to use by this channel and what allows it by the law of the place, or why not."""
    if client.archived_at:
        return Refusal(REFUSAL_REASONS["archived"])
    business = Business.objects.get()
    rule = LegalRules.load().rule_for_all(
        countries_of(client), sender_country=business.country, channel=channel, on=today
    )
    consent = client.consents.filter(channel=channel).first()
    basis = basis_in_force(
        consent, rule, last_job_on=last_job_dates([client.pk]).get(client.pk), today=today
    )
    if isinstance(basis, Refusal):
        return basis
    address = preferred_address(client, channel)
    if not address:
        return Refusal(why_no_address(client, channel))
    if suppression.suppressed_addresses(business=business, channel=channel, addresses=[address]):
        return Refusal(REFUSAL_REASONS["suppressed"])
    return ContactPermission(address, None if basis == NONE_NEEDED else consent, basis)


def basis_in_force(
    consent: ConsentEntry | None, rule: LegalRule, *, last_job_on: date | None, today: date
) -> str | Refusal:
    """What allows writing today: the newest entry of the log as far as the rule takes it, else that
    none is needed."""
    if consent and not consent.is_given:
        return Refusal("The client withdrew consent.")
    why = "There is no consent on record."
    if consent:
        why = why_not_in_force(consent, rule, last_job_on, today)
        if not why:
            return consent.basis
    if rule.needs_consent:
        return Refusal(why)
    end = rule.consent_expires(NONE_NEEDED, last_job_on, None)
    if end is None or end >= today:
        return NONE_NEEDED
    return Refusal(
        f"Without consent only within {rule.months[NONE_NEEDED]} months of a job ({rule.code})."
    )


def why_not_in_force(
    consent: ConsentEntry, rule: LegalRule, last_job_on: date | None, today: date
) -> str:
    """Why a consent that was given does not count, empty if it does."""
    if consent.expires_on and consent.expires_on < today:
        return f"The consent ran out on {consent.expires_on}."
    if not (rule.allows(consent.basis) or not rule.needs_consent):
        kind = Consent.Basis(consent.basis).label.lower()
        return f"“{kind.capitalize()}” is not enough there ({rule.code})."
    end = rule.consent_expires(consent.basis, last_job_on, consent.recorded_at.date())
    return (
        f"The implied consent ran out on {display.format_day(end)} ({rule.code})."
        if end and end < today
        else ""
    )


def preferred_address(client: Client, channel: str) -> str:
    """The preferred usable address of this channel, empty if there is none."""
    if channel == Channel.LETTER:
        return postal_address_of(client)
    points = (client.usable_contact(kind) for kind in CONTACT_KINDS.get(channel, []))
    point = next(filter(None, points), None)
    if point is None:
        return ""
    return point.value.strip() if channel == Channel.EMAIL else point.normalized


def postal_address_of(client: Client) -> str:
    """Where letters go: the client's own postal address, else the oldest property."""
    if client.postal_street:
        place = " ".join(
            filter(None, [client.postal_town, client.postal_region, client.postal_postcode])
        )
        return ", ".join(filter(None, [client.postal_street, place, client.postal_country]))
    home = min(client.properties.all(), key=lambda each: each.pk, default=None)
    return ", ".join(filter(None, [home.address, home.postcode, home.country])) if home else ""


def why_no_address(client: Client, channel: str) -> str:
    kinds = CONTACT_KINDS.get(channel, [])
    suspended = [
        point for point in client.contact_points.all() if point.kind in kinds and point.suspended_at
    ]
    if suspended:
        return f"The address is suspended: {suspended[0].suspended_why or 'no reason noted'}."
    return {"email": "There is no e-mail address.", "letter": "There is no postal address."}.get(
        channel, f"There is no {ContactPoint.Kind.MOBILE.label.lower()} number."
    )


def reasons_not_to_send(business: Business, messages: Sequence[Message]) -> dict[int, str]:
    """Of these messages, those that may not go now, each with the reason in words."""
    columns: list[list[Any]] = [
        [message.pk for message in messages],
        [suppression.address_hash(business, each.channel, each.address) for each in messages],
        [suppression.normalize_address(each.channel, each.address) for each in messages],
    ]
    with connection.cursor() as cursor:
        cursor.execute(EACH_REFUSAL_SQL, columns)
        return {pk: REFUSAL_REASONS[word] for pk, word in cursor.fetchall() if word}
