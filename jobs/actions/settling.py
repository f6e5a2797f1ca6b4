"""The mark that a job is settled: somebody says so, for what is paid stands in another ledger."""

from datetime import date

from django.db import transaction

from clients.actions.saving import lock_row
from jobs.models import Job


@transaction.atomic
def settle_job(*, job: Job, day: date | None) -> Job:
    """Settled on that day, or known to be open; marked again it keeps the first day."""
    row = lock_row(job)
    if day is None or row.settled_on is None:
        row.settled_on = day
        row.is_unpaid = day is None
        row.save(update_fields=["settled_on", "is_unpaid"])
    return row


@transaction.atomic
def settle_jobs_before(*, before: date, day: date) -> int:
    """Settled on `day`: all that were finished before and are not; how many.

    Those that are known to be open go one by one, so that the trail of changes names them."""
    rows = Job.objects.not_paid_before(before)
    was_open = list(rows.filter(is_unpaid=True))
    for job in was_open:
        settle_job(job=job, day=day)
    return len(was_open) + rows.update(settled_on=day)
