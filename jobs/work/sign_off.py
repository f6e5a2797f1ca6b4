"""The words a client reads and agrees to at the end of a job, and by which ways they may be asked
to be reached."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.messaging.asking import consent_wording
from clients.messaging.reach import Reach
from clients.models import Business, Channel, Client, traits_of
from jobs.models import Job
from jobs.work.care_times import CareNote, care_note

NO_PHOTOS_NOTE = "No photos before the sign-off:"
VOLUNTARY_SENTENCE = _("No work and no price depends on my agreeing.")
RECONSENT_SENTENCE = _("I had asked not to be reached this way, and I take that back.")


@dataclass(frozen=True)
class ConsentRequest:
    """One box to tick: a channel and the whole wording that is agreed to."""

    channel: str
    wording: str


def consent_requests(client: Client, business: Business) -> list[ConsentRequest]:
    """One box a channel by which the client can be reached; ticking it is agreement in writing."""
    contacts = Reach.of(client, business=business)
    found = [(channel, contacts.address(client.pk, channel)) for channel in Channel]
    return [
        ConsentRequest(channel, whole_wording(contacts, channel, address))
        for channel, address in found
        if address
    ]


def whole_wording(contacts: Reach, channel: Channel, address: str) -> str:
    traits = traits_of(channel)
    shown = display.format_phone(address) if traits.is_by_number else address
    words = f"{consent_wording(contacts.business, channel, shown)} {VOLUNTARY_SENTENCE}"
    is_refusing = contacts.is_suppressed(channel, address)
    return f"{RECONSENT_SENTENCE} {words}" if is_refusing and not traits.is_by_post else words


def waits_for_photos(job: Job) -> bool:
    """Whether photos of before or after are missing and nobody wrote why."""
    return bool(job.missing_photo_moments) and NO_PHOTOS_NOTE not in job.notes


def jobs_to_sign_off(job: Job) -> list[Job]:
    """This job, and what else was finished at that property on that day and is not signed off:
    one visit, one name."""
    visit = Job.objects.filter(
        deck__site=job.deck.site_id, finished_on=job.finished_on, sign_off=None
    )
    found = (
        visit.exclude(pk=job.pk).select_related("deck__site__client").with_coats().order_by("pk")
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
    told = [seen.format(day=jobs[0].day_words, work=done)]
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
