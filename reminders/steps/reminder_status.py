"""Where reminding about a coat stands: said already, not yet, or not possible and why; for a whole list at once."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time

from clients import display
from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.messaging.outbox.fallback import is_in_doubt
from clients.models import Business
from reminders.models import Forecast, ForecastQuerySet, Stop
from reminders.steps import LeftOut, Word
from reminders.steps.planning import Planning
from reminders.steps.sequence import Said, name_of


@dataclass(frozen=True)
class Standing:
    """A word for the list, the class of its chip, and whether a reminder can still be sent."""

    word: str
    chip: str
    is_open: bool = False
    message_id: int | None = None


NOT_YET = Standing("Not reminded yet", "is-quiet", is_open=True)


def standings(job_ids: Collection[int], *, today: date) -> dict[int, Standing]:
    """For each job that left a coat: what was said last about it, else whether and why not it can be reminded now."""
    business = Business.objects.get()
    noon = datetime.combine(today, time(12), business.zone)
    planning = looked_at(Forecast.objects.filter(job__in=list(job_ids)), business, now=noon)
    words = {word.coat.job_id: word for each in planning.made.planned for word in each.words}
    left_out = {each.job_id: each for each in planning.made.left_out}
    return {job: standing(planning, job, words.get(job), left_out.get(job)) for job in job_ids}


def looked_at(rows: ForecastQuerySet, business: Business, *, now: datetime) -> Planning:
    """What would come next about these coats, however late."""
    planning = Planning.of(rows, business=business, now=now, until=date.max)
    planning.run()
    return planning


@dataclass(frozen=True)
class Reminding:
    """How reminding about the coat on one deck stands, for its page."""

    standing: Standing
    stop: Stop | None
    next_word: str
    next_on: date | None
    doubtful: Message | None


def reminding(forecast: Forecast, *, now: datetime) -> Reminding:
    """What was said last, what comes next and when, and whether somebody stopped it."""
    planning = looked_at(Forecast.objects.filter(pk=forecast.pk), Business.objects.get(), now=now)
    job, made = forecast.job_id, planning.made
    word = made.planned[0].words[0] if made.planned else None
    stands = standing(planning, job, word, made.left_out[0] if made.left_out else None)
    step, day = (made.planned[0].step.word, made.planned[0].local_day) if made.planned else ("", None)
    return Reminding(stands, planning.facts.stops.get(job), step, day, doubtful(stands, now=now))


def doubtful(stands: Standing, *, now: datetime) -> Message | None:
    """The unconfirmed message, once the time is over after which it may be said by another channel."""
    message = Message.objects.filter(pk=stands.message_id or 0, state=State.UNCONFIRMED).first()
    return message if message and is_in_doubt(message, now=now) else None


def standing(planning: Planning, job: int, word: Word | None, left_out: LeftOut | None) -> Standing:
    said = planning.facts.said.get(job)
    is_open = word is not None and (not said or word.next.day <= planning.today)
    if said:
        last = max(said, key=lambda each: each.reminder_id)
        return Standing(told(planning, last), f"is-{last.state}", is_open, last.message_id)
    return Standing(left_out.why, "is-caution") if left_out else NOT_YET


def told(planning: Planning, said: Said) -> str:
    """“First word accepted Nov 25, 2026”: how far it got and when."""
    word = name_of(planning.steps, said.step)
    return f"{word[0].upper()}{word[1:]} {State(said.state).label.lower()} {display.day(said.on)}"
