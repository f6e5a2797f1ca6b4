"""What the book's own reminders teach about answers:
how many lead to work, how soon, and what may still come."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

import numpy as np
from django.db import connection
from django.db.models import Count

from jobs.models import Offer
from reminders.pacing.core import Beta, LeadTime


class ResponseGroup(StrEnum):
    """Clients who answer alike, told by the coat that is due."""

    RETURNING = "came back before"
    ONCE = "coated once"
    SILENT = "coat older than three years"


# As strong as twenty reminders of one's own; common practice, no source: clients who came back come
# again.
RESPONSE_PRIORS = {
    ResponseGroup.RETURNING: Beta(10, 10),
    ResponseGroup.ONCE: Beta(7, 13),
    ResponseGroup.SILENT: Beta(2.4, 17.6),
}
OFFER_PRIOR = Beta(10, 10)  # the same strength, judgement
SILENT_AFTER = timedelta(days=3 * 365)  # judgement
ANSWER_WINDOW = timedelta(
    weeks=26
)  # a job later than this is not put down to the reminder (judgement)
DEFAULT_LEAD = LeadTime(
    2, 8
)  # answer, offer and first free day; and how long a client waits (common practice, no source)
MIN_WAITS_FOR_LEAD = 20  # jobs after reminders before the lead is taken from them (judgement)
MAX_LEAD_WEEKS = 16  # weeks

# One row a property and first word about a coat: the group's facts, and the days until the next job
# on a deck of it.
RESPONSE_QUERY = """
SELECT min(r.sent_on), max(r.sent_on - j.finished_on), max(r.coats), min(r.after_days)
FROM (
    SELECT r.job_id, r.deck_id, min(m.accepted_at)::date AS sent_on,
        (SELECT count(*) FROM jobs_coat o JOIN jobs_job c ON c.id = r.job_id
         WHERE o.deck_id = r.deck_id AND o.laid_on <= c.finished_on) AS coats,
        (SELECT min(o.laid_on) FROM jobs_coat o WHERE o.deck_id = r.deck_id
         AND o.laid_on > min(m.accepted_at)::date) - min(m.accepted_at)::date AS after_days
    FROM reminders_reminder r JOIN clients_message m ON m.id = r.message_id
    WHERE m.accepted_at IS NOT NULL AND m.state IN ('accepted', 'delivered')
    GROUP BY r.job_id, r.deck_id
) r JOIN jobs_job j ON j.id = r.job_id JOIN clients_deck d ON d.id = r.deck_id
WHERE r.sent_on <= %(until)s
GROUP BY d.property_id, r.sent_on
"""


@dataclass(frozen=True)
class ResponseRates:
    """Chances by group, the chance of an offer, the lead, and how many reminders each chance rests
    on."""

    chances: dict[ResponseGroup, Beta]
    offers: Beta
    lead: LeadTime
    asked: Counter[ResponseGroup]
    accepted: Counter[ResponseGroup]
    is_lead_learned: bool


def response_group(*, coats: int, age_days: int) -> ResponseGroup:
    """By the age of the coat at the reminder and how often the deck was coated by then."""
    if age_days > SILENT_AFTER.days:
        return ResponseGroup.SILENT
    return ResponseGroup.RETURNING if coats > 1 else ResponseGroup.ONCE


def learn_response_rates(*, today: date) -> ResponseRates:
    """From all reminders whose time to answer is over;
    younger ones would count only those that answered fast."""
    with connection.cursor() as cursor:
        cursor.execute(RESPONSE_QUERY, {"until": today - ANSWER_WINDOW})
        rows = cursor.fetchall()
    asked: Counter[ResponseGroup] = Counter()
    accepted: Counter[ResponseGroup] = Counter()
    waits = []
    for _, age_days, coats, after_days in rows:
        group = response_group(coats=coats, age_days=age_days)
        asked[group] += 1
        if after_days is not None and after_days <= ANSWER_WINDOW.days:
            accepted[group] += 1
            waits.append(after_days / 7)
    chances = {
        group: prior.updated(asked=asked[group], accepted=accepted[group])
        for group, prior in RESPONSE_PRIORS.items()
    }
    return ResponseRates(
        chances,
        offer_acceptance_rate(),
        lead_from_waits(waits),
        asked,
        accepted,
        len(waits) >= MIN_WAITS_FOR_LEAD,
    )


def lead_from_waits(waits: list[float]) -> LeadTime:
    """The weeks between which eight in ten came, once enough have."""
    if len(waits) < MIN_WAITS_FOR_LEAD:
        return DEFAULT_LEAD
    first, last = np.quantile(waits, [0.1, 0.9])
    return LeadTime(min(int(first), MAX_LEAD_WEEKS), min(int(np.ceil(last)), MAX_LEAD_WEEKS))


def offer_acceptance_rate() -> Beta:
    """How many offers are accepted of those that were answered or ran out."""
    rows = Offer.objects.first_offers().order_by().values_list("state")
    counted = dict(rows.annotate(offers=Count("pk")))
    yes = counted.get(Offer.State.ACCEPTED, 0)
    no = counted.get(Offer.State.DECLINED, 0)
    return OFFER_PRIOR.updated(asked=yes + no, accepted=yes)
