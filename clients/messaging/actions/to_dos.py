"""Matters that only a person can settle."""

from datetime import datetime

from clients.messaging.models import ToDo
from clients.models import User


def complete_to_do(*, to_do: ToDo, by: User, now: datetime) -> bool:
    """Note that it is done; False if somebody had done so before."""
    open_row = ToDo.objects.open().filter(pk=to_do.pk)
    return bool(open_row.update(done_at=now, done_by=by))
