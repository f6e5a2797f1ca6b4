"""What a busy business has said, offered and booked around its decks, made by a few statements:
pages that list it are measured with it, not on an empty outbox and diary."""

from datetime import date

from django.db import connection

from jobs.models import Booking, Crew
from tests.bench.offers import make_bench_prices

# Every third deck that is due was reminded once in the last two years; of these one in 400 is in
# doubt. One deck in 50 has an offer of the last two months, half of them still open, one in ten one
# of before. Three crews drive to two places a day, a year back and twelve weeks ahead.
STATEMENTS = [
    """
    INSERT INTO clients_message (client_id, kind, channel, idempotency_key, address, subject, text,
        html, language, basis, law, message_id, state, queued_at, not_before, attempts, accepted_at,
        reply, provider_id)
    SELECT f.deck_id, 'reminder', 'email', 'bench/' || f.deck_id,
        'client' || f.deck_id || '@example.org', 'Your deck is due', 'The finish is due.', '', 'en',
        'express', '', '<' || f.deck_id || '.bench@example.com>',
        CASE WHEN f.deck_id %% 1200 = 0 THEN 'unconfirmed' ELSE 'accepted' END, said.at, said.at, 1,
        said.at, '', ''
    FROM reminders_forecast f, LATERAL
        (SELECT %(today)s::date - (f.deck_id * 37 %% 700) * interval '1 day' AS at) said
    WHERE f.deck_id %% 3 = 0 AND f.due_on <= %(today)s
    """,
    """
    INSERT INTO reminders_reminder (deck_id, job_id, message_id, step, channel, created_at)
    SELECT f.deck_id, f.job_id, m.id, 1, 'email', m.queued_at
    FROM clients_message m JOIN reminders_forecast f ON f.deck_id = m.client_id
    WHERE m.idempotency_key LIKE 'bench/%%'
    """,
    """
    INSERT INTO jobs_offer (number, revision, state, language, currency, tax_mode, tax_rounding,
        net, tax, total, hours, drafted_on, valid_until, introduction, waiting, sent_at,
        answered_at, answered_by, accepted_week, decline_reason, decline_words, withdrawn_why,
        client_id, property_id, price_list_id, visits, deposit_amount, deposit_percent, terms)
    SELECT d.id, 1, kind.state, 'en', 'CAD', 'exclusive', 'total', 1000, 150, 1150, 9, kind.made,
        kind.made + 40, '', '{}', kind.made,
        CASE WHEN kind.state <> 'open' THEN kind.made + 9 END, '',
        CASE WHEN kind.state = 'accepted' THEN date_trunc('week', kind.made + 30) END, '', '', '',
        d.id, d.property_id, list.id, 1, 0, 0, '{}'
    FROM clients_deck d, (SELECT min(id) AS id FROM jobs_pricelist) list, LATERAL (
        SELECT CASE WHEN d.id %% 100 = 1 THEN 'open' WHEN d.id %% 2000 = 5 THEN 'accepted'
                ELSE 'declined' END AS state,
            %(today)s::date - CASE WHEN d.id %% 50 = 1 THEN d.id::int * 7 %% 60
                ELSE 61 + d.id::int * 7 %% 600 END AS made
    ) kind
    WHERE d.id %% 50 = 1 OR d.id %% 10 = 5
    """,
    """
    INSERT INTO jobs_offerscope (offer_id, deck_id, position, work, why, stripper_applications,
        coats, colour, same_as_last, litres, buying, steps, hours)
    SELECT id, client_id, 1, 'recoat', '', 0, 2, '', true, 9, '[]', '[]', 9 FROM jobs_offer
    """,
    """
    INSERT INTO jobs_crewday (crew_id, day, hours_open, hours_booked)
    SELECT crew.id, day::date, 16, 16 FROM jobs_crew crew,
        generate_series(%(today)s::date - 364, %(today)s::date + 84, interval '1 day') day
    WHERE extract(isodow FROM day) < 6
    """,
    """
    INSERT INTO jobs_booking (uid, sequence, state, first_on, last_on, hours, notes, why, client_id,
        property_id, crew_id)
    SELECT gen_random_uuid(), 0, CASE WHEN c.day < %(today)s THEN 'done' ELSE 'booked' END, c.day,
        c.day, 8, '', '', place.id, place.id, c.crew_id
    FROM jobs_crewday c, generate_series(0, 1) half, LATERAL
        (SELECT 1 + (c.id * 2 + half) %% %(decks)s AS id) place
    """,
    """
    INSERT INTO jobs_bookingday (booking_id, crew_day_id, hours)
    SELECT b.id, c.id, 8 FROM jobs_booking b
    JOIN jobs_crewday c ON c.crew_id = b.crew_id AND c.day = b.first_on
    """,
    """
    INSERT INTO jobs_booking_decks (booking_id, deck_id) SELECT id, property_id FROM jobs_booking
    """,
]
CREWS = ["Tern crew", "Plover crew", "Gannet crew"]


def make_bench_traffic(*, decks: int, today: date) -> None:
    """Once, on the book of `make_bench_book` with its forecasts."""
    if Booking.objects.exists():
        return
    make_bench_prices()
    for name in CREWS:
        Crew.objects.get_or_create(name=name, defaults={"hours_a_day": 8})
    with connection.cursor() as cursor:
        for statement in STATEMENTS:
            cursor.execute(statement, {"today": today, "decks": decks})
