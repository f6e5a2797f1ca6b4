"""The words a client reads and agrees to at the end of a job, and by which ways they may be asked
to be reached."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.messaging import suppression
from clients.messaging.outbox.permission import CONTACT_KINDS, preferred_address
from clients.models import Business, Channel, Client
from jobs.models import Job
from jobs.work.care_times import CareNote, care_note

# Whole sentences, for they are agreed to as they stand.
CONSENT_WORDINGS = {
    Channel.EMAIL: _(
        "{business} may e-mail me reminders and offers for the care of my decks, to {address}. Each"
        " message says how to end it."
    ),
    Channel.TEXT: _(
        "{business} may send me text messages with reminders and offers for the care of my decks,"
        " to {address}, also by an automatic system. Answering STOP ends it; my phone company may"
        " charge for messages."
    ),
    Channel.LETTER: _(
        "{business} may send me letters with reminders and offers for the care of my decks. A word"
        " from me ends it."
    ),
    Channel.CALL: _(
        "{business} may phone me at {address} about the care of my decks. A word from me ends it."
    ),
}
CHANNEL_LABELS = {
    Channel.EMAIL: _("By e-mail"),
    Channel.TEXT: _("By text message"),
    Channel.LETTER: _("By letter"),
    Channel.CALL: _("By telephone call"),
}
VOLUNTARY_SENTENCE = _("No work and no price depends on my agreeing.")
RECONSENT_SENTENCE = _("I had asked not to be reached this way, and I take that back.")


@dataclass(frozen=True)
class ConsentRequest:
    """One box to tick: a channel and the whole wording that is agreed to."""

    channel: str
    wording: str


def consent_requests(client: Client, business: Business) -> list[ConsentRequest]:
    """One box a channel by which the client can be reached; ticking it is agreement in writing."""
    found = [(channel, preferred_address(client, channel)) for channel in CONSENT_WORDINGS]
    return [
        ConsentRequest(channel, consent_wording(business, channel, address))
        for channel, address in found
        if address
    ]


def consent_wording(business: Business, channel: Channel, address: str) -> str:
    shown = display.format_phone(address) if channel in {Channel.TEXT, Channel.CALL} else address
    words = (
        f"{str(CONSENT_WORDINGS[channel]).format(business=business.name, address=shown)}"
        f" {VOLUNTARY_SENTENCE}"
    )
    is_refusing = suppression.suppressed_addresses(
        business=business, channel=channel, addresses=[address]
    )
    return f"{RECONSENT_SENTENCE} {words}" if is_refusing and channel in CONTACT_KINDS else words


def jobs_to_sign_off(job: Job) -> list[Job]:
    """This job, and what else was finished at that property on that day and is not signed off:
    one visit, one name."""
    visit = Job.objects.filter(
        deck__property=job.deck.property_id, finished_on=job.finished_on, sign_off=None
    )
    found = (
        visit.exclude(pk=job.pk)
        .select_related("deck__property__client")
        .with_coats()
        .order_by("pk")
    )
    return [job, *found]


def latest_care_note(jobs: Sequence[Job]) -> CareNote | None:
    """When all of it may be used; None if no finish went on."""
    notes = [note for job in jobs if (note := care_note(job))]
    if not notes:
        return None
    walk = max(note.walk_at for note in notes)
    furniture = max(note.furniture_at for note in notes)
    is_known = all(note.is_to_the_hour for note in notes)
    return CareNote(walk, furniture, is_known, all(note.is_from_data_sheet for note in notes))


def sign_off_statement(jobs: Sequence[Job]) -> str:
    """What is signed about the work itself, in the language in force."""
    done = "; ".join(f"{job.get_kind_display().lower()}, {job.deck}" for job in jobs)
    seen = gettext("I have seen the finished work of {day}: {work}.")
    told = [seen.format(day=display.format_day(jobs[0].finished_on), work=done)]
    if care := latest_care_note(jobs):
        hour = f", {display.format_clock(care.walk_at)}" if care.is_to_the_hour else ""
        words = gettext(
            "I was told that the deck may be walked on from {walk}, that furniture may come back"
            " from {furniture}, and how to look after it."
        )
        walk = f"{display.format_day(care.walk_at.date())}{hour}"
        furniture = display.format_day(care.furniture_at.date())
        told.append(words.format(walk=walk, furniture=furniture))
    return " ".join(told)
