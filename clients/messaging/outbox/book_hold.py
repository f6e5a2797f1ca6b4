"""A restored book sends nothing until a person says that it is the only one.

What waited in it may have gone out since the backup was made. So it is held back, message by
message, when the book is released (docs/decisions/0032).
"""

from datetime import datetime

from django.db import transaction

from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.messaging.outbox.transitions import write_message_events
from clients.models import Business, User

MAY_HAVE_GONE_NOTE = "Held back: it waited in a restored book and may have gone out since."


def hold_book(*, now: datetime) -> bool:
    """From now on nothing goes out. False if it was held already, or there is no business."""
    return bool(Business.objects.filter(sending_held_at=None).update(sending_held_at=now))


@transaction.atomic
def release_book(*, by: User | None, now: datetime) -> int:
    """This book is the only one, somebody says: it sends again. What waited when it was restored
    stays back for a person to release or cancel; how many messages that is."""
    business = Business.objects.select_for_update().filter(sending_held_at__isnull=False).first()
    if business is None:
        return 0
    old = Message.objects.open().filter(held_at=None, queued_at__lte=business.sending_held_at)
    ids_by_state = {
        state: list(old.filter(state=state).values_list("pk", flat=True))
        for state in (State.QUEUED, State.CLAIMED)
    }
    for state, ids in ids_by_state.items():
        Message.objects.filter(pk__in=ids).update(held_at=now)
        write_message_events(ids, state, note=MAY_HAVE_GONE_NOTE, by=by, at=now)
    Business.objects.filter(pk=business.pk).update(sending_held_at=None)
    return sum(map(len, ids_by_state.values()))
