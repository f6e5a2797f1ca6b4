"""The final check: whether a message may still go, asked when it is claimed and right before it is
handed over, and whether it may ring now.

Who may be reached at all is `clients/messaging/reach.py`; here stands only what may have changed
since it said yes. A message that rings or buzzes and had to wait, say for a gateway that was away,
must not do so at night. That holds for reminders and offers only: what a client asked for a minute
ago, or a visit called off, may come at any hour.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any

from django.db import connection
from django.db.models import prefetch_related_objects

from clients.messaging import reach, suppression
from clients.messaging.law import LegalRules, countries_of
from clients.messaging.models import Message, SendingRules
from clients.messaging.models.message import MARKETING_MESSAGE_KINDS
from clients.messaging.quiet import Locality, NeverOpenError, first_moment_for_all
from clients.models import Business, Client

# In SQL, so that the final check and the change to "transmitting" are one statement. A withdrawal
# always has the last word over an earlier consent, and where no consent is needed, or only a
# register was looked into, any withdrawal speaks against it; about a booked visit we may write
# without consent, to a suppressed address never, but for the one text message that confirms the
# word STOP (basis "stop", see clients/messaging/incoming/replies.py). The law of the place is not
# asked again: a basis that runs out made the message expire. Today is told: the database has time
# zones of its own, by which it may be another day (docs/decisions/0025).
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
    WHEN m.kind = 'service' THEN NULL
    WHEN m.basis IN ('none_needed', 'register') AND EXISTS (SELECT FROM (
        SELECT DISTINCT ON (c.channel) c.is_given FROM clients_consent c
        WHERE c.client_id = m.client_id ORDER BY c.channel, c.recorded_at DESC, c.id DESC
        ) newest WHERE NOT newest.is_given) THEN 'consent'
    WHEN m.basis <> 'none_needed' AND NOT coalesce((
        SELECT c.is_given AND (c.expires_on IS NULL OR c.expires_on >= {today})
        FROM clients_consent c WHERE c.client_id = m.client_id AND c.channel = m.channel
        ORDER BY c.recorded_at DESC, c.id DESC LIMIT 1), false) THEN 'consent'
END"""
EACH_REFUSAL_SQL = f"""
SELECT m.id, {REFUSAL_SQL.format(hash="a.hash", normalized="a.normalized", today="%s::date")}
FROM clients_message m JOIN unnest(%s::bigint[], %s::text[], %s::text[]) AS a(id, hash,
    normalized) USING (id)
"""  # noqa: S608 - made of constants
REFUSAL_REASONS = {
    "expired": "It was not sent in time.",
    "archived": reach.ARCHIVED.why,
    "suppressed": reach.SUPPRESSED.why,
    "suspended": "The address is suspended.",
    "consent": "There is no consent in force.",
}


def reasons_not_to_send(
    business: Business, messages: Sequence[Message], *, today: date
) -> dict[int, str]:
    """Of these messages, those that may not go now, each with the reason in words."""
    columns: list[list[Any]] = [
        [message.pk for message in messages],
        [suppression.address_hash(business, each.channel, each.address) for each in messages],
        [suppression.normalize_address(each.channel, each.address) for each in messages],
    ]
    with connection.cursor() as cursor:
        cursor.execute(EACH_REFUSAL_SQL, [today, *columns])
        return {pk: REFUSAL_REASONS[word] for pk, word in cursor.fetchall() if word}


def postponed_until(
    business: Business, batch: Sequence[Message], *, now: datetime
) -> dict[int, datetime | str]:
    """Of these messages, those that may not ring now:
    the moment from which they may, or why they never may."""
    ringing = [
        each for each in batch if each.traits.disturbs and each.kind in MARKETING_MESSAGE_KINDS
    ]
    if not ringing:
        return {}
    prefetch_related_objects(ringing, "client__properties")
    law = LegalRules.load()
    rules = SendingRules.current()
    today = business.today(now)
    found: dict[int, datetime | str] = {}
    for message in ringing:
        rule = law.rule_for_all(
            countries_of(message.client),
            sender_country=business.country,
            channel=message.channel,
            on=today,
        )
        try:
            moment = first_moment_for_all(
                now,
                client_locations(business, message.client),
                rules=rules,
                law_hours_at=rule.hours_at,
            )
            found[message.pk] = moment or str(NeverOpenError.__doc__)
        except NeverOpenError as error:
            found[message.pk] = str(error)
    return {pk: moment for pk, moment in found.items() if moment != now}


def client_locations(business: Business, client: Client) -> Iterator[Locality]:
    """The zone, country and region of each property; the business's own where there is none."""
    homes = list(client.properties.all())
    for home in homes:
        yield Locality(home.zone, home.country, home.region, home.town)
    if not homes:
        yield Locality(business.zone, business.country, business.region, business.town)
