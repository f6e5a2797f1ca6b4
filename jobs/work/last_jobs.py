"""When each client's newest job was finished;
the law of some places counts from there (settings.LAST_JOB_PROVIDER)."""

from collections.abc import Collection
from datetime import date

from django.db.models import Max

from jobs.models import Job


def last_job_day_by_client(client_ids: Collection[int]) -> dict[int, date]:
    """Client → day of the newest job on any of their decks, in one query."""
    rows = Job.objects.filter(deck__site__client__in=list(client_ids)).order_by()
    newest = rows.values_list("deck__site__client").annotate(Max("finished_on"))
    return dict(newest)
