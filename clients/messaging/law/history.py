"""When a client's last job was finished: the law of some places counts from there.

The jobs are in an app above, which may not be imported here: the settings name its function.
"""

from collections.abc import Collection
from datetime import date
from typing import Protocol

from django.conf import settings
from django.utils.module_loading import import_string


class LastJobProvider(Protocol):
    """Client → the day, for those who have had a job; one query for all."""

    def __call__(self, client_ids: Collection[int]) -> dict[int, date]: ...


def last_job_dates(client_ids: Collection[int]) -> dict[int, date]:
    provider: LastJobProvider = import_string(settings.LAST_JOB_PROVIDER)
    return provider(client_ids)
