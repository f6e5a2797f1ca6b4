"""A file that comes in parts, since the line breaks too often for the whole of it."""

import hashlib
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import QuerySet, Sum
from django.db.models.functions import Length

from clients.actions.saving import lock_until_commit
from clients.models import UploadPart, User
from clients.whole_uploads import UnfinishedFormError

MAX_WAITING_BYTES = 100 * 1024 * 1024  # of one person: a day's photographs, and no store of files
PARTS_ARE_KEPT = timedelta(days=3)


class UploadPartError(ValueError):
    """This part cannot be taken; `offset` says from where on the book goes on."""

    def __init__(self, words: str, offset: int) -> None:
        super().__init__(words)
        self.offset = offset


def count_received_bytes(*, by: User, sha256: str) -> int:
    """Of a file, without a gap from its beginning."""
    return sum_of_bytes(UploadPart.objects.filter(sent_by=by, sha256=sha256))


@transaction.atomic
def receive_part(*, by: User, sha256: str, offset: int, body: bytes, now: datetime) -> int:
    """The bytes that are there then. A part that was taken before is not written again: whoever
    sends it has not heard the answer.

    Raises `UploadPartError` where a part would leave a gap or lie over another, or where too much
    waits.
    """
    lock_until_commit(f"parts of {by.pk}")
    there = count_received_bytes(by=by, sha256=sha256)
    if offset != there:
        raise UploadPartError("The next part begins elsewhere.", there)
    waiting = sum_of_bytes(UploadPart.objects.filter(sent_by=by))
    if waiting + len(body) > MAX_WAITING_BYTES:
        raise UploadPartError("Too many files wait to become whole.", there)
    UploadPart.objects.create(sent_by=by, sha256=sha256, offset=offset, body=body, received_at=now)
    return offset + len(body)


def sum_of_bytes(rows: QuerySet[UploadPart]) -> int:
    total: int = rows.order_by().aggregate(bytes=Sum(Length("body"), default=0))["bytes"]
    return total


def whole_upload(*, by: User, sha256: str) -> bytes:
    """The file. Raises `UnfinishedFormError` where the parts are not that file; they are dropped
    then, and it is sent anew."""
    rows = UploadPart.objects.filter(sent_by=by, sha256=sha256).order_by("offset")
    body = b"".join(rows.values_list("body", flat=True))
    if hashlib.sha256(body).hexdigest() != sha256:
        drop_upload(by=by, sha256=sha256)
        raise UnfinishedFormError("The parts of this file are not all there.")
    return body


def drop_upload(*, by: User, sha256: str) -> None:
    """Whoever sent it has heard that it was taken, or it is not what it should be."""
    UploadPart.objects.filter(sent_by=by, sha256=sha256).delete()


def forget_old_parts(*, now: datetime) -> int:
    """What never became whole, or was not asked for."""
    rows = UploadPart.objects.filter(received_at__lt=now - PARTS_ARE_KEPT)
    return rows.delete()[0]
