"""The table of what can happen to a message, and the one way to let it happen.

Printed in docs/owner.md, "How a message moves"; what is not in it cannot happen.
"""

from collections.abc import Collection
from datetime import datetime
from enum import Enum, StrEnum
from typing import Any

from django.db import transaction

from clients.messaging.models import Message, MessageEvent
from clients.messaging.models.message import UNRESOLVED_STATES, MessageQuerySet, State
from clients.models import User


class Cause(StrEnum):
    """Who may let something happen to a message."""

    SENDER = "sender"
    SWEEP = "sweep"
    GATEWAY_REPORT = "gateway report"
    MAIL_REPORT = "mail report"
    PERSON = "person"


BY_SENDER = (Cause.SENDER,)
BY_SWEEP = (Cause.SWEEP,)
BY_GATEWAY = (Cause.GATEWAY_REPORT,)
BY_MAIL = (Cause.MAIL_REPORT,)
BY_REPORT = BY_GATEWAY + BY_MAIL
BY_PERSON = (Cause.PERSON,)
BY_ANYBODY = BY_SENDER + BY_REPORT + BY_PERSON

QUEUED = (State.QUEUED,)
CLAIMED = (State.CLAIMED,)
TRANSMITTING = (State.TRANSMITTING,)
ACCEPTED = (State.ACCEPTED,)
UNCONFIRMED = (State.UNCONFIRMED,)
LEASED = CLAIMED + TRANSMITTING
UNSENT = QUEUED + CLAIMED
SENT = TRANSMITTING + ACCEPTED + UNCONFIRMED
NOT_DELIVERED = tuple(state for state in State if state != State.DELIVERED)


class Transition(Enum):
    """An event: the states it starts from, the state it ends in, its causes, and what happens."""

    CLAIM = QUEUED, State.CLAIMED, BY_SENDER, "A sender takes it."
    TRANSMIT = CLAIMED, State.TRANSMITTING, BY_SENDER, "The final check found nothing against it."
    ACCEPT = TRANSMITTING, State.ACCEPTED, BY_SENDER, "The mail server or gateway took it."
    ACCEPT_LATE = UNCONFIRMED, State.ACCEPTED, BY_SENDER, "It was taken after the lease had ended."
    REFUSE = LEASED, State.FAILED, BY_SENDER, "Refused for good or too often, or no hour is left."
    POSTPONE = LEASED, State.QUEUED, BY_SENDER, "Refused for now, or it would ring in quiet hours."
    GIVE_BACK = LEASED, State.QUEUED, BY_SENDER, "Nothing was handed over."
    LOSE_ANSWER = LEASED, State.UNCONFIRMED, BY_SENDER, "Handed over, and the answer was lost."
    FORBID = LEASED, State.CANCELLED, BY_SENDER, "A check found something against it."

    RECOVER = LEASED, State.QUEUED, BY_SWEEP, "The sender died before it handed it over."
    ABANDON = TRANSMITTING, State.UNCONFIRMED, BY_SWEEP, "The sender died while handing it over."
    EXPIRE = QUEUED, State.CANCELLED, BY_SWEEP, "It was not sent in time."

    REPORT_ARRIVAL = NOT_DELIVERED, State.DELIVERED, BY_REPORT, "It arrived, even if unwanted."
    REPORT_RECEIPT = UNSENT + UNCONFIRMED, State.ACCEPTED, BY_REPORT, "Somebody has it after all."
    REPORT_ANSWER = UNCONFIRMED, State.ACCEPTED, BY_MAIL, "A person or a machine answered it."
    REPORT_FAILURE = SENT, State.BOUNCED, BY_GATEWAY, "The gateway could not deliver it."
    REPORT_ABSENCE = UNCONFIRMED, State.FAILED, BY_GATEWAY, "The gateway does not know it."
    REPORT_RETURN = UNSENT + SENT, State.BOUNCED, BY_MAIL, "A mail server or service sent it back."
    REPORT_UNSENT = SENT, State.FAILED, BY_MAIL, "The mail service did not send it."

    CANCEL = UNSENT, State.CANCELLED, BY_ANYBODY, "It is not wanted, or not allowed, any more."
    TAKE_BACK = UNSENT, State.CANCELLED, BY_PERSON, "Whoever sent it takes it back."
    CONFIRM = UNCONFIRMED, State.ACCEPTED, BY_PERSON, "Somebody made sure that it went out."
    RESEND = UNRESOLVED_STATES, State.QUEUED, BY_PERSON, "It is to be sent again."
    DISMISS = UNRESOLVED_STATES, State.CANCELLED, BY_PERSON, "It is left at that."
    POST_LETTER = QUEUED, State.ACCEPTED, BY_PERSON, "The letter was put into the post."
    RETURN_LETTER = ACCEPTED, State.BOUNCED, BY_PERSON, "The post brought the letter back."
    REACH_BY_CALL = QUEUED, State.DELIVERED, BY_PERSON, "Somebody spoke to the client by telephone."
    LEAVE_WORD = QUEUED, State.ACCEPTED, BY_PERSON, "Somebody left a word by telephone."
    CALL_AGAIN = QUEUED, State.QUEUED, BY_PERSON, "Nobody answered the telephone: again later."
    FAIL_TO_REACH = QUEUED, State.FAILED, BY_PERSON, "Wrong number, or four calls in vain."

    def __init__(
        self, starts: Collection[State], end: State, causes: Collection[Cause], meaning: str
    ) -> None:
        self.starts = starts
        self.end = end
        self.causes = causes
        self.meaning = meaning

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
