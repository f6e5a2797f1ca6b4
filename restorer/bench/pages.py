"""The due list page, whole as a browser gets it, against the SQL of its rows."""

from datetime import date

from django.db import connection
from django.test import Client as Browser

from clients.models import User
from restorer.bench.timing import in_turn, percentile

RAW = """
SELECT d.id, c.name, p.street, p.town, f.window_opens_on, f.due_on, f.late_on, f.chance_worn, f.contributions
FROM reminders_forecast f JOIN clients_deck d ON d.id = f.deck_id JOIN clients_property p ON p.id = d.property_id
JOIN clients_client c ON c.id = p.client_id
WHERE f.due_on >= %s AND f.due_on < %s AND d.archived_at IS NULL AND c.archived_at IS NULL
ORDER BY p.town, f.due_on, d.id
"""


def raw_rows(first: date, after: date) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(RAW, [first, after])
        return cursor.fetchall()


def measure(month: date) -> dict[str, float]:
    browser = Browser(headers={"host": "127.0.0.1"})
    browser.force_login(owner())
    after = date(month.year + month.month // 12, month.month % 12 + 1, 1)
    address = f"/due/{month:%Y-%m}/"
    pair = in_turn(lambda: browser.get(address), lambda: raw_rows(month, after), times=11)
    rows = len(raw_rows(month, after))
    return {
        "rows": rows,
        "page_ms": 1000 * percentile(pair.ours, 0.5),
        "sql_ms": 1000 * percentile(pair.other, 0.5),
        "ratio": pair.ratio,
    }


def owner() -> User:
    """Somebody who may see the page."""
    user, _ = User.objects.get_or_create(username="bench", defaults={"role": User.Role.OWNER})
    return user
