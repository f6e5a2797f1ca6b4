"""What programs were answered names people: it goes after a week, and when one of them is
erased."""

import re
from collections.abc import Collection
from datetime import datetime

from restorer.models import KeptAnswer


def forget_old_answers(*, now: datetime) -> int:
    """A program that asks again later is answered as if it were the first time."""
    return KeptAnswer.objects.old(now=now).delete()[0]


def forget_answers_about(
    *, client_ids: Collection[int], named_by: re.Pattern[str], **_signal: object
) -> None:
    """Those that are about the erased clients or name them."""
    numbers = "|".join(map(str, client_ids))
    about = re.compile(rf'"client_id": (?:{numbers})\b')
    kept = KeptAnswer.objects.values_list("pk", "body").iterator()
    gone = [pk for pk, body in kept if about.search(body) or named_by.search(body)]
    KeptAnswer.objects.filter(pk__in=gone).delete()
