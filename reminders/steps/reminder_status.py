"""Where reminding about a coat stands: said already, not yet, or not possible and why;
for a whole list at once."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time

from clients import display
from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.messaging.outbox import is_in_doubt
from clients.messaging.reach import Reach
from clients.models import Business
from reminders.models import Forecast, ForecastQuerySet, Stop
from reminders.steps.facts import ReminderFacts
from reminders.steps.planner import DueStep, LeftOut, ReminderPlanner, ReminderRequest
from reminders.steps.sequence import SentReminder, step_name


@dataclass(frozen=True)
class ReminderStatus:
    """A word for the list, the class of its chip, and whether a reminder can still be sent."""

    label: str
    chip: str
    can_remind: bool = False
    message_id: int | None = None


UNCONFIRMED_CHIP = f"is-{State.UNCONFIRMED}"
NOT_REMINDED_YET = ReminderStatus("Not reminded yet", "is-quiet", can_remind=True)


def reminder_statuses(job_ids: Collection[int], *, today: date) -> dict[int, ReminderStatus]:
    """For each job that left a coat: what was said last about it, else whether and why not it can
    be reminded now."""
    business = Business.objects.get()
    noon = datetime.combine(today, time(12), business.zone)
    planning = plan_next_for_coats(
        Forecast.objects.filter(job__in=list(job_ids)), business, now=noon
    )
    words = {word.coat.job_id: word for each in planning.plan.planned for word in each.due_steps}
    left_out = {each.job_id: each for each in planning.plan.left_out}
    return {job: coat_status(planning, job, words.get(job), left_out.get(job)) for job in job_ids}


def plan_next_for_coats(
    rows: ForecastQuerySet, business: Business, *, now: datetime
) -> ReminderPlanner:
    """What would come next about these coats, however late."""
    planning = ReminderPlanner.of(rows, ReminderRequest(date.max), business=business, now=now)
    planning.run()
    return planning


@dataclass(frozen=True)
class DeckReminderState:
    """How reminding about the coat on one deck stands, for its page."""

    reminder_status: ReminderStatus
    stop: Stop | None
    next_step_label: str
    next_on: date | None
    unconfirmed_message: Message | None


def deck_reminder_state(
    forecast: Forecast, contacts: Reach, *, now: datetime, without: Collection[str] = ()
) -> DeckReminderState:
    """What was said last, what comes next and when, and whether somebody stopped it. `contacts`
    are those of its client; `without` as `ReminderFacts` has it."""
    rows = Forecast.objects.filter(pk=forecast.pk)
    facts = ReminderFacts(rows, now=now, zone=contacts.business.zone, without=without)
    planning = ReminderPlanner.about(facts, contacts, ReminderRequest(date.max))
    planning.run()
    job = forecast.job_id
    made = planning.plan
    word = made.planned[0].due_steps[0] if made.planned else None
    stands = coat_status(planning, job, word, made.left_out[0] if made.left_out else None)
    step, day = (
        (made.planned[0].step.label, made.planned[0].local_day) if made.planned else ("", None)
    )
    return DeckReminderState(
        stands, planning.facts.stops.get(job), step, day, resendable_message(stands, now=now)
    )


def resendable_message(stands: ReminderStatus, *, now: datetime) -> Message | None:
    """The unconfirmed message, once the time is over after which it may be said by another
    channel."""
    if stands.chip != UNCONFIRMED_CHIP or stands.message_id is None:
        return None
    message = Message.objects.filter(pk=stands.message_id, state=State.UNCONFIRMED).first()
    return message if message and is_in_doubt(message, now=now) else None


def coat_status(
    planning: ReminderPlanner, job: int, word: DueStep | None, left_out: LeftOut | None
) -> ReminderStatus:
    sent = planning.facts.sent.get(job)
    is_open = word is not None and (not sent or word.next.day <= planning.today)
    if sent:
        last = max(sent, key=lambda each: each.reminder_id)
        return ReminderStatus(
            sent_status_text(planning, last), f"is-{last.state}", is_open, last.message_id
        )
    return ReminderStatus(left_out.why, "is-caution") if left_out else NOT_REMINDED_YET


def sent_status_text(planning: ReminderPlanner, sent: SentReminder) -> str:
    """“First word accepted Nov 25, 2026”: how far it got and when."""
    word = step_name(planning.steps, sent.step)
    return (
        f"{word[0].upper()}{word[1:]} {State(sent.state).label.lower()}"
        f" {display.format_day(sent.on)}"
    )
