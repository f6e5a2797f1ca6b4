"""Which word comes next for one coat, from what was said about it so far. Rows in, no queries."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from clients import display
from clients.messaging.models.message import State
from reminders.models import ReminderStep

ON_ITS_WAY = {State.QUEUED, State.CLAIMED, State.TRANSMITTING}
WENT = {State.ACCEPTED, State.DELIVERED}
REACHED_NOBODY = {State.FAILED, State.BOUNCED}


@dataclass(frozen=True)
class Said:
    """A reminder about the coat that exists, and how far it got."""

    step: int
    channel: str
    state: str
    on: date
    message_id: int
    reminder_id: int = 0


@dataclass(frozen=True)
class Next:
    """The word to say, its day, and the reminders of the same step that reached nobody."""

    step: ReminderStep
    day: date
    tried: Collection[Said] = ()

    @property
    def replaces(self) -> int | None:
        """The newest of them: the database wants every further one to name it."""
        return max((said.reminder_id for said in self.tried), default=None)


@dataclass(frozen=True)
class NoNext:
    """Nothing more to say for now: why, and the message that it hangs on."""

    why: str
    is_over: bool = False
    message_id: int | None = None


@dataclass(frozen=True)
class Window:
    """The days of the forecast that steps are counted from."""

    opens_on: date
    due_on: date
    late_on: date


@dataclass(frozen=True)
class Pace:
    """What the pacing plan says about the coat: its week, or none until the last day of the plan."""

    week: date | None = None
    until: date | None = None


def next_word(
    steps: Sequence[ReminderStep], window: Window, said: Sequence[Said], *, pace: Pace | None = None
) -> Next | NoNext:
    """The lowest step in use that is still to be said; a sequence never goes back to a lower one."""
    waiting = next((each for each in said if each.state in ON_ITS_WAY), None)
    if waiting:
        return NoNext(f"The {name_of(steps, waiting.step)} waits in the outbox.", message_id=waiting.message_id)
    unknown = next((each for each in said if each.state == State.UNCONFIRMED), None)
    if unknown:
        word = name_of(steps, unknown.step)
        why = (
            f"Nobody knows whether the {word} went out: say in the outbox whether it did, or tell them by another way."
        )
        return NoNext(why, message_id=unknown.message_id)
    furthest = max((each.step for each in said), default=0)
    for step in steps:
        tried = [each for each in said if each.step == step.number]
        is_open = not tried or all(each.state in REACHED_NOBODY for each in tried)
        if step.is_on and step.number >= furthest and is_open:
            return first_of_all(step, window, pace) if not said else Next(step, day_of(step, window), tried)
    return NoNext(all_said(said), is_over=True)


def first_of_all(step: ReminderStep, window: Window, pace: Pace | None) -> Next | NoNext:
    """The pacing plan, where there is one, chooses the week of the first word."""
    if pace is None:
        return Next(step, day_of(step, window))
    if pace.week is None:
        return NoNext(f"The pacing plan leaves it out{f' until {display.day(pace.until)}' if pace.until else ''}.")
    return Next(step, pace.week)


def day_of(step: ReminderStep, window: Window) -> date:
    return step.day(opens_on=window.opens_on, due_on=window.due_on, late_on=window.late_on)


def all_said(said: Sequence[Said]) -> str:
    went = [each.on for each in said if each.state in WENT]
    return f"All words have been said, the last on {display.day(max(went))}." if went else "All words have been tried."


def name_of(steps: Sequence[ReminderStep], number: int) -> str:
    """“first word”, also of a step that is no more."""
    return next((step.word for step in steps if step.number == number), f"word of step {number}")
