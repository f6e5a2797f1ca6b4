"""When a client's last job was finished: the app that knows it registers itself (jobs/apps.py)."""

from collections.abc import Callable, Collection
from datetime import date

last_job_providers: list[Callable[[Collection[int]], dict[int, date]]] = []


def last_job_dates(client_ids: Collection[int]) -> dict[int, date]:
    """Client → the day, for those who have had a job; one query for all."""
    found: dict[int, date] = {}
    for ask in last_job_providers:
        for client, day in ask(client_ids).items():
            found[client] = max(day, found.get(client, day))
    return found
