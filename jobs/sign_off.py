"""The words a client reads and agrees to at the end of a job, and by which ways they may be asked to be reached."""

from dataclasses import dataclass

from clients import display, suppression
from clients.models import Business, Channel, Client
from clients.outbox.permission import KINDS, address_for
from jobs.care import care_note
from jobs.models import Job

WHAT = {
    Channel.EMAIL: (
        "e-mail me reminders and offers for the care of my decks, to {address}. Each message says how to end it"
    ),
    Channel.TEXT: (
        "send me text messages with reminders and offers for the care of my decks, to {address}, also by an automatic "
        "system. Answering STOP ends it; my phone company may charge for messages"
    ),
    Channel.LETTER: "send me letters with reminders and offers for the care of my decks. A word from me ends it",
    Channel.CALL: "phone me at {address} about the care of my decks. A word from me ends it",
}
FREE = "No work and no price depends on my agreeing."
AGAIN = "I had asked not to be reached this way, and I take that back."


@dataclass(frozen=True)
class Ask:
    """One box to tick: a channel and the whole wording that is agreed to."""

    channel: str
    wording: str


def asks(client: Client, business: Business) -> list[Ask]:
    """One box a channel by which the client can be reached; ticking it is agreement in writing."""
    found = [(channel, address_for(client, channel)) for channel in WHAT]
    return [Ask(channel, wording(business, channel, address)) for channel, address in found if address]


def wording(business: Business, channel: Channel, address: str) -> str:
    shown = display.phone(address) if channel in {Channel.TEXT, Channel.CALL} else address
    words = f"{business.name} may {WHAT[channel].format(address=shown)}. {FREE}"
    is_refusing = suppression.suppressed(business=business, channel=channel, addresses=[address])
    return f"{AGAIN} {words}" if is_refusing and channel in KINDS else words


def statement(job: Job) -> str:
    """What is signed about the work itself."""
    told = [
        f"I have seen the finished work: {job.get_kind_display().lower()}, {job.deck}, {display.day(job.finished_on)}."
    ]
    if care := care_note(job):
        hour = f", {display.clock(care.walk_at)}" if care.is_to_the_hour else ""
        told.append(
            f"I was told that the deck may be walked on from {display.day(care.walk_at.date())}{hour}, that furniture "
            f"may come back from {display.day(care.furniture_at.date())}, and how to look after it."
        )
    return " ".join(told)
