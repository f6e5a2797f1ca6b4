"""Matters that only a person can settle."""

from datetime import datetime

from clients.messaging.models import Message, ToDo
from clients.models import Client, User

MAX_TO_DO_CHARACTERS = 500


def add_to_do(
    *,
    kind: str,
    key: str,
    words: str,
    url: str,
    now: datetime,
    client: Client | None = None,
    message: Message | None = None,
) -> None:
    """Put a matter before a person; the same key again changes nothing, settled or not."""
    row = ToDo(
        kind=kind,
        key=key,
        client=client,
        message=message,
        words=words.strip()[:MAX_TO_DO_CHARACTERS],
        url=url,
        made_at=now,
    )
    ToDo.objects.bulk_create([row], ignore_conflicts=True)


def complete_to_do(*, to_do: ToDo, by: User, now: datetime) -> bool:
    """Note that it is done; False if somebody had done so before."""
    open_row = ToDo.objects.open().filter(pk=to_do.pk)
    return bool(open_row.update(done_at=now, done_by=by))
