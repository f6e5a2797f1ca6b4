"""Which reminder comes next for one coat, from what was sent about it so far, and how often a
client may be written to: days that keep apart from what was and will be sent.

Rows in, no queries.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from clients import display
from clients.messaging.models import SendingRules
from clients.messaging.models.message import State
from reminders.models import ReminderStep


def allowed_day(day: date, others: Iterable[date], rules: SendingRules) -> date:
    """The day itself, or the first one after it that keeps the rules;
    `others` are days of reminders and offers.

    Two of them are at least `days_between` days apart, and any `most_days` days hold at most
    `most_messages`.
    """
    if not (taken := sorted(others)):
        return day
    found = day
    while (later := postponed_day(found, taken, rules)) > found:
        found = later
    return found


def postponed_day(day: date, taken: list[date], rules: SendingRules) -> date:
    """A later day if this one breaks a rule, else the day."""
    gap = timedelta(days=rules.days_between)
    near = [other for other in taken if abs(day - other) < gap]
    if near:
        return max(near) + gap
    span = timedelta(days=rules.most_days)
    for start in [*(other for other in taken if day - span < other < day), day]:
        held = [other for other in taken if start <= other < start + span]
        if len(held) >= rules.most_messages:
            return held[0] + span
    return day


PENDING_STATES = {State.QUEUED, State.CLAIMED, State.TRANSMITTING}
SENT_STATES = {State.ACCEPTED, State.DELIVERED}
UNREACHED_STATES = {State.FAILED, State.BOUNCED}


@dataclass(frozen=True)
class SentReminder:
    """A reminder about the coat that exists, and how far it got."""

    step: int
    channel: str
    state: str
    on: date
    message_id: int
    reminder_id: int = 0


@dataclass(frozen=True)
class NextStep:
    """The word to say, its day, and the reminders of the same step that reached nobody."""

    step: ReminderStep
    day: date
    tried: Collection[SentReminder] = ()

    @property
    def replaces(self) -> int | None:
        """The newest of them: the database wants every further one to name it."""
        return max((sent.reminder_id for sent in self.tried), default=None)


@dataclass(frozen=True)
class NothingDue:
    """Nothing more to say for now: why, and the message that it hangs on."""

    why: str
    is_over: bool = False
    message_id: int | None = None


@dataclass(frozen=True)
class ForecastWindow:
    """The days of the forecast that steps are counted from."""

    opens_on: date
    due_on: date
    late_on: date


@dataclass(frozen=True)
class PacedWeek:
    """What the pacing plan says about the coat:
    its week, or none until the last day of the plan."""

    week: date | None = None
    until: date | None = None


def next_step(
    steps: Sequence[ReminderStep],
    window: ForecastWindow,
    sent: Sequence[SentReminder],
    *,
    paced_week: PacedWeek | None = None,
) -> NextStep | NothingDue:
    """The lowest step in use that is still to be said;
    a sequence never goes back to a lower one."""
    waiting = next((each for each in sent if each.state in PENDING_STATES), None)
    if waiting:
        return NothingDue(
            f"The {step_name(steps, waiting.step)} waits in the outbox.",
            message_id=waiting.message_id,
        )
    unknown = next((each for each in sent if each.state == State.UNCONFIRMED), None)
    if unknown:
        word = step_name(steps, unknown.step)
        why = (
            f"Nobody knows whether the {word} went out: say in the outbox whether it did, or tell"
            " them by another way."
        )
        return NothingDue(why, message_id=unknown.message_id)
    furthest = max((each.step for each in sent), default=0)
    for step in steps:
        tried = [each for each in sent if each.step == step.number]
        is_open = not tried or all(each.state in UNREACHED_STATES for each in tried)
        if step.is_on and step.number >= furthest and is_open:
            return (
                first_step_by_plan(step, window, paced_week)
                if not sent
                else NextStep(step, step_day(step, window), tried)
            )
    return NothingDue(why_sequence_over(sent), is_over=True)


def first_step_by_plan(
    step: ReminderStep, window: ForecastWindow, paced_week: PacedWeek | None
) -> NextStep | NothingDue:
    """The pacing plan, where there is one, chooses the week of the first word."""
    if paced_week is None:
        return NextStep(step, step_day(step, window))
    if paced_week.week is None:
        return NothingDue(
            "The pacing plan leaves it"
            f" out{f' until {display.format_day(paced_week.until)}' if paced_week.until else ''}."
        )
    return NextStep(step, paced_week.week)


def step_day(step: ReminderStep, window: ForecastWindow) -> date:
    return step.day(opens_on=window.opens_on, due_on=window.due_on, late_on=window.late_on)


def why_sequence_over(sent: Sequence[SentReminder]) -> str:
    went = [each.on for each in sent if each.state in SENT_STATES]
    return (
        f"All reminders have been sent, the last on {display.format_day(max(went))}."
        if went
        else "All reminders have been tried."
    )


def step_name(steps: Sequence[ReminderStep], number: int) -> str:
    """“first reminder”, also of a step that is no more."""
    return next(
        (step.label for step in steps if step.number == number), f"reminder of step {number}"
    )
