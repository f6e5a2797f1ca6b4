"""A form is taken once, however often it is sent."""

import uuid
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from clients.actions.saving import lock_until_commit
from clients.models import ReceivedForm, User


def typed_form_key(data: Mapping[str, Any]) -> uuid.UUID | None:
    """The key of the page that a form was filled in on; None where it has none."""
    try:
        return uuid.UUID(str(data.get("form_key", "")))
    except ValueError:
        return None


def was_received(form_key: uuid.UUID | None) -> bool:
    """Whether a form with that key was taken before."""
    return form_key is not None and ReceivedForm.objects.filter(pk=form_key).exists()


@transaction.atomic
def receive_once(
    *, form_key: uuid.UUID | None, by: User, now: datetime, write: Callable[[], str]
) -> tuple[str, bool]:
    """Write what a form says, unless a form with that key was taken before: then nothing is
    written (False). Either way the address that it leads to.

    `write` gives that address; what it raises takes everything back, the key too.
    """
    if form_key is None:
        return write(), True
    lock_until_commit(f"form {form_key}")
    if there := ReceivedForm.objects.filter(pk=form_key).first():
        return there.address, False
    address = write()
    ReceivedForm.objects.create(form_key=form_key, address=address, received_at=now, recorded_by=by)
    return address, True
