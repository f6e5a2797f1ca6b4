"""The table of what can happen to a message, and the one way to let it happen.

Printed in docs/operations.md, "How a message moves"; what is not in it cannot happen.
"""

from collections.abc import Collection
from datetime import datetime
from enum import Enum, StrEnum
from typing import Any

from django.db import transaction

from clients.messaging.models import Message, MessageEvent
from clients.messaging.models.message import MessageQuerySet, State
from clients.models import User


class Cause(StrEnum):
    """Who may let something happen to a message."""

    SENDER = "sender"
    SWEEP = "sweep"
    GATEWAY_REPORT = "gateway report"
    MAIL_REPORT = "mail report"
    PERSON = "person"


LEASED = (State.CLAIMED, State.TRANSMITTING)
UNRESOLVED = (State.UNCONFIRMED, State.FAILED, State.BOUNCED)


class Transition(Enum):
    """An event: what happens, the states it starts from, the state it ends in, and its causes."""

    CLAIM = ("A sender takes it.", (State.QUEUED,), State.CLAIMED, (Cause.SENDER,))
    TRANSMIT = (
        "The final check found nothing against it.",
        (State.CLAIMED,),
        State.TRANSMITTING,
        (Cause.SENDER,),
    )
    ACCEPT = (
        "The mail server or gateway took it.",
        (State.TRANSMITTING,),
        State.ACCEPTED,
        (Cause.SENDER,),
    )
    ACCEPT_LATE = (
        "It was taken, after the sender's time was up.",
        (State.UNCONFIRMED,),
        State.ACCEPTED,
        (Cause.SENDER,),
    )
    REFUSE = (
        "Refused for good, for now too often, or no hour of the day is left for it.",
        LEASED,
        State.FAILED,
        (Cause.SENDER,),
    )
    POSTPONE = (
        "Refused for now, or it would ring in quiet hours.",
        LEASED,
        State.QUEUED,
        (Cause.SENDER,),
    )
    GIVE_BACK = ("Nothing was handed over.", LEASED, State.QUEUED, (Cause.SENDER,))
    LOSE_ANSWER = (
        "Handed over, and the answer was lost.",
        LEASED,
        State.UNCONFIRMED,
        (Cause.SENDER,),
    )
    FORBID = ("A check found something against it.", LEASED, State.CANCELLED, (Cause.SENDER,))
    RECOVER = ("The sender died before it handed it over.", LEASED, State.QUEUED, (Cause.SWEEP,))
    ABANDON = (
        "The sender died while handing it over.",
        (State.TRANSMITTING,),
        State.UNCONFIRMED,
        (Cause.SWEEP,),
    )
    EXPIRE = ("It was not sent in time.", (State.QUEUED,), State.CANCELLED, (Cause.SWEEP,))
    REPORT_ARRIVAL = (
        "It arrived, be it that the recipient reports it as unwanted.",
        tuple(state for state in State if state != State.DELIVERED),
        State.DELIVERED,
        (Cause.GATEWAY_REPORT, Cause.MAIL_REPORT),
    )
    REPORT_RECEIPT = (
        "Somebody has it after all: it is not sent once more.",
        (State.UNCONFIRMED, State.QUEUED, State.CLAIMED),
        State.ACCEPTED,
        (Cause.GATEWAY_REPORT, Cause.MAIL_REPORT),
    )
    REPORT_ANSWER = (
        "A person or a machine answered it.",
        (State.UNCONFIRMED,),
        State.ACCEPTED,
        (Cause.MAIL_REPORT,),
    )
    REPORT_FAILURE = (
        "The gateway could not deliver it.",
        (State.TRANSMITTING, State.ACCEPTED, State.UNCONFIRMED),
        State.BOUNCED,
        (Cause.GATEWAY_REPORT,),
    )
    REPORT_ABSENCE = (
        "The gateway does not know it.",
        (State.UNCONFIRMED,),
        State.FAILED,
        (Cause.GATEWAY_REPORT,),
    )
    REPORT_RETURN = (
        "A mail server or mail service sent it back.",
        (State.UNCONFIRMED, State.QUEUED, State.CLAIMED, State.TRANSMITTING, State.ACCEPTED),
        State.BOUNCED,
        (Cause.MAIL_REPORT,),
    )
    REPORT_UNSENT = (
        "The mail service did not send it.",
        (State.UNCONFIRMED, State.TRANSMITTING, State.ACCEPTED),
        State.FAILED,
        (Cause.MAIL_REPORT,),
    )
    CANCEL = (
        "It is not wanted any more, or nobody may write there any more.",
        (State.QUEUED, State.CLAIMED),
        State.CANCELLED,
        (Cause.PERSON, Cause.SENDER, Cause.GATEWAY_REPORT, Cause.MAIL_REPORT),
    )
    CONFIRM = (
        "Somebody made sure that it went out.",
        (State.UNCONFIRMED,),
        State.ACCEPTED,
        (Cause.PERSON,),
    )
    RESEND = ("It is to be sent again.", UNRESOLVED, State.QUEUED, (Cause.PERSON,))
    DISMISS = ("It is left at that.", UNRESOLVED, State.CANCELLED, (Cause.PERSON,))
    POST_LETTER = (
        "The letter was put into the post.",
        (State.QUEUED,),
        State.ACCEPTED,
        (Cause.PERSON,),
    )
    RETURN_LETTER = (
        "The post brought the letter back.",
        (State.ACCEPTED,),
        State.BOUNCED,
        (Cause.PERSON,),
    )
    REACH_BY_CALL = (
        "Somebody spoke to the client by telephone.",
        (State.QUEUED,),
        State.DELIVERED,
        (Cause.PERSON,),
    )
    LEAVE_WORD = (
        "Somebody left a word by telephone.",
        (State.QUEUED,),
        State.ACCEPTED,
        (Cause.PERSON,),
    )
    CALL_AGAIN = (
        "Nobody answered the telephone: again later.",
        (State.QUEUED,),
        State.QUEUED,
        (Cause.PERSON,),
    )
    FAIL_TO_REACH = (
        "The number is wrong, or nobody answered four times.",
        (State.QUEUED,),
        State.FAILED,
        (Cause.PERSON,),
    )

    def __init__(
        self, meaning: str, starts: Collection[State], end: State, causes: Collection[Cause]
    ) -> None:
        self.meaning = meaning
        self.starts = starts
        self.end = end
        self.causes = causes

    @property
    def starts_sql(self) -> str:
        """For SQL behind IN."""
        quoted = [f"'{state}'" for state in self.starts]
        return f"({', '.join(quoted)})"


@transaction.atomic
def apply_transition(
    rows: MessageQuerySet,
    transition: Transition,
    *,
    note: str = "",
    by: User | None = None,
    at: datetime | None = None,
    **changes: Any,
) -> int:
    """Let it happen to those of the rows that are in one of its states, as far as the conditions of
    the query still hold once each row is locked. Each leaves one line in its history."""
    fit = rows.filter(state__in=transition.starts).order_by("id")
    ids = list(fit.select_for_update(of=("self",)).values_list("id", flat=True))
    Message.objects.filter(id__in=ids).update(
        state=transition.end, lease_token=None, lease_until=None, **changes
    )
    write_message_events(ids, transition.end, note=note, by=by, at=at)
    return len(ids)


def write_message_events(
    ids: list[int], state: str, *, note: str, by: User | None = None, at: datetime | None = None
) -> None:
    """A line in the history of each; by itself it moves nothing."""
    when = {"at": at} if at else {}
    MessageEvent.objects.bulk_create(
        [MessageEvent(message_id=pk, state=state, note=note[:500], by=by, **when) for pk in ids]
    )
