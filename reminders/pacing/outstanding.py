"""What is out already and may still bring work:
reminders, offers, and weeks chosen by hand before the plan begins."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
from django.db import connection
from django.utils import timezone

from jobs import diary
from jobs.models import Offer
from jobs.offers import due_parts
from reminders.forecast.arrays import Floats, Integers
from reminders.models import Forecast
from reminders.pacing.core import Beta, remaining_chance
from reminders.pacing.labour import LabourTimes, labour_times
from reminders.pacing.responses import ResponseRates, response_group

# Reminders since a day about coats that are still the newest, neither booked nor stopped: one row a
# property and day.
OUTSTANDING_QUERY = """
SELECT min(m.accepted_at)::date AS sent_on, array_agg(d.id), array_agg(d.area_m2),
    max(m.accepted_at::date - j.finished_on),
    max((SELECT count(*) FROM jobs_coat c WHERE c.deck_id = d.id))
FROM reminders_reminder r
JOIN clients_message m ON m.id = r.message_id AND m.state IN ('accepted', 'delivered')
    AND m.accepted_at >= %(since)s
JOIN reminders_forecast f ON f.job_id = r.job_id
JOIN jobs_job j ON j.id = r.job_id
JOIN clients_deck d ON d.id = r.deck_id
WHERE NOT EXISTS (SELECT FROM reminders_stop s WHERE s.job_id = r.job_id)
    AND NOT EXISTS (
        SELECT FROM jobs_booking_decks bd JOIN jobs_booking b ON b.id = bd.booking_id
        WHERE bd.deck_id = d.id AND b.state IN ('booked', 'held'))
    AND NOT EXISTS (
        SELECT FROM jobs_offerscope os JOIN jobs_offer o ON o.id = os.offer_id
        WHERE os.deck_id = d.id AND o.state IN ('open', 'accepted'))
GROUP BY d.property_id
"""


def outstanding_work(
    known: ResponseRates, *, before: date, elsewhere: Mapping[int, date | None], today: date
) -> tuple[Integers, Floats]:
    """Weeks before the plan (all below 0) and the moments of the hours that each may still
    bring."""
    waiting = [
        *outstanding_reminders(known, today),
        *visits_chosen_by_hand(known, elsewhere, before, today),
    ]
    areas = {deck: area for each in waiting for deck, area in each.areas.items()}
    times = labour_times(areas, today=today, parts=due_parts(areas, today=today))
    found = [
        *((each.day, each.moments(times)) for each in waiting),
        *outstanding_offers(known, today),
    ]
    weeks = [min((diary.monday_of(day) - before).days // 7, -1) for day, _ in found]
    near = [place for place, week in enumerate(weeks) if week >= -known.lead.last]
    moments = np.array([found[place][1] for place in near]).reshape(-1, 3)
    return np.array([weeks[place] for place in near], dtype=int), moments


def answer_moments(belief: Beta, chance: float, hours: float) -> tuple[float, float, float]:
    """Mean, own variance and shared doubt of one answer."""
    return chance * hours, chance * (1 - chance) * hours**2, belief.cv * chance * hours


@dataclass(frozen=True)
class OutstandingVisit:
    """A visit that may come of a reminder:
    its day, what is believed and left of the chance, and decks with areas."""

    day: date
    belief: Beta
    chance: float
    areas: Mapping[int, Decimal | None]

    def moments(self, times: LabourTimes) -> tuple[float, float, float]:
        return answer_moments(self.belief, self.chance, times.visit_hours(self.areas))


def outstanding_reminders(known: ResponseRates, today: date) -> list[OutstandingVisit]:
    since = today - timedelta(weeks=known.lead.last)
    with connection.cursor() as cursor:
        cursor.execute(OUTSTANDING_QUERY, {"since": since})
        rows = cursor.fetchall()
    found = []
    for sent_on, decks, areas, age_days, coats in rows:
        belief = known.chances[response_group(coats=coats, age_days=age_days)]
        chance = remaining_chance(belief.mean, (today - sent_on).days / 7, known.lead.last)
        found.append(
            OutstandingVisit(sent_on, belief, chance, dict(zip(decks, areas, strict=True)))
        )
    return found


def outstanding_offers(
    known: ResponseRates, today: date
) -> list[tuple[date, tuple[float, float, float]]]:
    """Open offers, and accepted ones without a day: these are sure."""
    rows = (
        Offer.objects.first_offers()
        .filter(state__in=["open", "accepted"], booking=None, hours__gt=0)
        .order_by()
    )
    found = []
    for state, hours, sent_at, answered_at in rows.values_list(
        "state", "hours", "sent_at", "answered_at"
    ):
        if state == Offer.State.ACCEPTED:
            found.append((timezone.localdate(answered_at), (float(hours), 0.0, 0.0)))
            continue
        sent_on = timezone.localdate(sent_at)
        chance = remaining_chance(known.offers.mean, (today - sent_on).days / 7, known.lead.last)
        found.append((sent_on, answer_moments(known.offers, chance, float(hours))))
    return found


def visits_chosen_by_hand(
    known: ResponseRates, elsewhere: Mapping[int, date | None], before: date, today: date
) -> list[OutstandingVisit]:
    """Decks that a person put into a week between now and the plan."""
    weeks = {
        job: week
        for job, week in elsewhere.items()
        if week and diary.monday_of(today) <= week < before
    }
    if not weeks:
        return []
    rows = Forecast.objects.current().filter(job__in=weeks).order_by()
    found = []
    for job, deck, area, coated_on in rows.values_list(
        "job_id", "deck_id", "deck__area_m2", "job__finished_on"
    ):
        belief = known.chances[response_group(coats=2, age_days=(weeks[job] - coated_on).days)]
        found.append(OutstandingVisit(weeks[job], belief, belief.mean, {deck: area}))
    return found
