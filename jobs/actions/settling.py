"""The mark that a job is settled: somebody says so, for what is paid stands in another ledger."""

from datetime import date

from django.db import transaction

from clients.actions.saving import lock_row
from jobs.models import Job


@transaction.atomic
def settle_job(*, job: Job, day: date | None) -> Job:
    """Settled on that day, or not after all; marked again it keeps the first day."""
    row = lock_row(job)
    if day is None or row.settled_on is None:
        row.settled_on = day
        row.save(update_fields=["settled_on"])
    return row
