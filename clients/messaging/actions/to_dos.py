"""Matters that only a person can settle."""

from datetime import datetime

from clients.messaging.actions.staff_notices import announce_to_staff
from clients.messaging.models import ToDo
from clients.models import User

MAX_TO_DO_CHARACTERS = 500
ANSWER_KINDS = {ToDo.Kind.ANSWER, ToDo.Kind.QUESTION, ToDo.Kind.BOOK}  # a client has acted


def add_to_do(*, matter: ToDo, now: datetime) -> None:
    """Put a matter, not saved so far, before a person;
    the same key again changes nothing, settled or not."""
    matter.words = matter.words.strip()[:MAX_TO_DO_CHARACTERS]
    matter.made_at = now
    ToDo.objects.bulk_create([matter], ignore_conflicts=True)
    if matter.kind in ANSWER_KINDS:
        announce_to_staff(key=f"to-do/{matter.key}", words=matter.words, url=matter.url, now=now)


def complete_to_do(*, to_do: ToDo, by: User, now: datetime) -> bool:
    """Note that it is done; False if somebody had done so before."""
    open_row = ToDo.objects.open().filter(pk=to_do.pk)
    return bool(open_row.update(done_at=now, done_by=by))
