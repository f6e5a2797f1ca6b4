"""Log a job, change it, remove it; its batches and photographs."""

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from clients.actions.saving import NameTakenError, lock_row, lock_until_commit, save_if_changed
from clients.events import decks_changed, job_logged
from clients.models import Business, Deck, User, ordered_surfaces
from jobs.actions import bookings
from jobs.actions.new_decks import NewDeck, add_client_and_deck
from jobs.actions.offer_withdrawal import withdraw_offers_of_coated_decks
from jobs.actions.products import remember_can_code
from jobs.models import (
    Batch,
    Booking,
    CoatApplied,
    Defect,
    GradeExample,
    Job,
    Photo,
    Product,
    Visit,
    WorkedHours,
)
from jobs.partial_dates import EARLIEST_JOB_DAY
from jobs.photos import NormalizedPhoto, delete_photo_files, keep_small_copy


class JobError(ValueError):
    """A job that cannot be; the message says why, `field` where."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


class LoggedBeforeError(JobError):
    """The book has a job of that deck, kind and day, `there`: the same one, or another?"""

    def __init__(self, there: Job) -> None:
        super().__init__("another_job", "This deck has a job of that kind and day.")
        self.there = there


class BookingMovedError(JobError):
    """The booking that the page was opened for lies on later days by now: done with this job, or to
    stay?"""

    def __init__(self, booking: Booking) -> None:
        super().__init__("moved_booking", "The visit was moved to a later day.")
        self.booking = booking


@dataclass(frozen=True)
class CoatInput:
    """One product that went on; SI inside. Without a product it is a finish that nobody knows by
    name, without `coats` nobody counted them. `can_code` is to be remembered for the product."""

    product: Product | None
    batch_code: str = ""
    colour: str = ""
    surfaces: Sequence[str] = ("boards",)
    coats: int | None = 1
    litres: Decimal | None = None
    can_code: str = ""


@dataclass(frozen=True)
class JobInput:
    """What was done and found: `details` are fields of Job, `findings` fields of Visit.

    Where only the month, season or year of the work is known, `finished_from` is the first possible
    day and `finished_on` the last.
    A visit is kept when anything was found or a reason given. Of a job that is corrected, what
    `details` leaves out stays as it was. `hours` are those of each person by their number; None
    leaves them as they were.
    """

    details: Mapping[str, Any]
    coats: Sequence[CoatInput] = ()
    findings: Mapping[str, Any] = field(default_factory=dict)
    hours: Mapping[int, Decimal] | None = None


@dataclass(frozen=True)
class NewJob:
    """A finished job to log: on which deck, what was done, and the photographs of it.

    `form_key` is that of the page it was written on: a job is logged once for each. `moment` is
    when the photographs were taken (of `Photo.Moment`). `booking` is the one that it was done for,
    if that is known. Unless it `may_repeat`, a job of that deck, kind and day is asked about;
    and unless `moved_booking` says “done” or “stays”, a booking that lies on later days.
    """

    deck: Deck | NewDeck
    work: JobInput
    form_key: uuid.UUID
    photos: Sequence[NormalizedPhoto] = ()
    moment: str = "finished"
    booking: Booking | None = None
    may_repeat: bool = True
    moved_booking: str = "done"


def get_or_create_batch(product: Product | None, code: str) -> Batch | None:
    """The batch with that code, made if it is new;
    capitals and spaces around do not make another batch."""
    code = " ".join(code.split())
    if not code:
        return None
    if product is None:
        raise JobError("batch", "Choose the product that this batch is of.")
    lock_until_commit(f"batch {product.pk} {code.casefold()}")
    there = product.batches.filter(code__iexact=code).first()
    return there or Batch.objects.create(product=product, code=code)


def replace_coats_applied(job: Job, coats: list[CoatInput]) -> None:
    """Make the job's rows these ones; rows that stay the same stay untouched, so the audit trail
    shows changes only."""
    there = list(job.coats_applied.order_by("position", "id"))
    for position, coat in enumerate(coats, 1):
        row = there[position - 1] if position <= len(there) else CoatApplied(job=job)
        values = {
            "position": position,
            "product": coat.product,
            "batch": get_or_create_batch(coat.product, coat.batch_code),
            "colour": coat.colour,
            "surfaces": ordered_surfaces(coat.surfaces),
            "coats": coat.coats,
            "litres": coat.litres,
        }
        save_if_changed(row, values)
    for row in there[len(coats) :]:
        row.delete()
    remember_can_codes(coats)


def remember_can_codes(coats: Sequence[CoatInput]) -> None:
    for coat in coats:
        if coat.can_code and coat.product:
            try:
                remember_can_code(coat.product, coat.can_code)
            except NameTakenError as error:
                raise JobError("can_code", str(error)) from error


def replace_worked_hours(job: Job, hours: Mapping[int, Decimal] | None) -> None:
    """Make the job's hours these; what stays the same stays untouched."""
    if hours is None:
        return
    there = {row.person_id: row for row in job.hours_worked.all()}
    for person_id, worked in hours.items():
        row = there.pop(person_id, WorkedHours(job=job, person_id=person_id))
        save_if_changed(row, {"hours": worked})
    for row in there.values():
        row.delete()


def attach_photos(to: Job | Defect, files: Sequence[NormalizedPhoto], **facts: Any) -> list[Photo]:
    """Store prepared pictures, those that are not there yet; if the transaction fails, files
    without a row are left, never rows without a file."""
    there = set(to.photos.values_list("content_hash", flat=True))
    new = {file.content_hash: file for file in files if file.content_hash not in there}
    made = [
        to.photos.create(image=file, content_hash=content_hash, **facts)
        for content_hash, file in new.items()
    ]
    for photo in made:
        keep_small_copy(photo.image.name or "")
    return made


@transaction.atomic
def add_photos(
    *, job: Job, files: Sequence[NormalizedPhoto], moment: str, caption: str, now: datetime
) -> list[Photo]:
    """Those that are new; a file that was sent before is left alone."""
    lock_until_commit(f"photos {job.pk}")
    return attach_photos(
        job,
        files,
        deck=job.deck,
        moment=moment,
        caption=caption.strip(),
        taken_on=job.finished_on,
        created_at=now,
    )


@transaction.atomic
def describe_photo(*, photo: Photo, caption: str, shows_people: bool | None = None) -> None:
    """What is to be seen, in words, for those who cannot see it; and whether somebody can be
    recognised, where that is said: then it is no example of a grade."""
    values: dict[str, Any] = {"caption": caption.strip()}
    if shows_people is not None:
        values["shows_people"] = shows_people
    save_if_changed(lock_row(photo), values)
    if shows_people:
        GradeExample.objects.filter(photo=photo).delete()


@transaction.atomic
def remove_photo(*, photo: Photo) -> None:
    name = photo.image.name or ""
    photo.delete()
    transaction.on_commit(lambda: delete_photo_files([name]))


@transaction.atomic
def log_job(*, new: NewJob, by: User | None, now: datetime) -> tuple[Job, bool]:
    """Write a finished job once; a second time with the same form key it is only found (False).

    The booking that it was done for, or the one in the diary for that deck by that day, is closed
    with it.
    """
    lock_until_commit(f"job {new.form_key}")
    if there := Job.objects.filter(form_key=new.form_key).first():
        return there, False
    business = Business.objects.get()
    deck = new.deck
    if isinstance(deck, NewDeck):
        deck = add_client_and_deck(new=deck, by=by, now=now)
    check_new_job(new, deck, business.today(now))
    booking = booking_to_close(new)
    job = Job(
        deck=deck,
        form_key=new.form_key,
        recorded_by=by,
        created_at=now,
        is_unpaid=True,
        **with_currency(new.work.details, business),
    )
    job.visit = save_visit_of_job(Visit(deck=deck, recorded_by=by, created_at=now), new.work)
    job.save()
    replace_coats_applied(job, list(new.work.coats))
    replace_worked_hours(job, new.work.hours)
    attach_photos(
        job,
        new.photos,
        deck=deck,
        moment=new.moment,
        taken_on=job.finished_on,
        created_at=now,
    )
    bookings.close_booking_of_job(job=job, booking=booking, now=now)
    follow_job_changes(deck_ids=[deck.pk], now=now)
    job_logged.send(Job, job_id=job.pk, now=now)
    return job, True


@transaction.atomic
def change_job(*, job: Job, work: JobInput, by: User | None, now: datetime) -> Job:
    """Change a job."""
    business = Business.objects.get()
    details = work.details
    job = Job.objects.select_for_update(of=("self",)).select_related("deck", "visit").get(pk=job.pk)
    if details["finished_on"] != job.finished_on:
        check_work_date(details["finished_on"], business.today(now))
    check_span(details)
    visit = job.visit or Visit(deck=job.deck, recorded_by=by, created_at=now)
    save_if_changed(
        job, {**with_currency(details, business), "visit": save_visit_of_job(visit, work)}
    )
    replace_coats_applied(job, list(work.coats))
    replace_worked_hours(job, work.hours)
    follow_job_changes(deck_ids=[job.deck_id], now=now)
    return job


@transaction.atomic
def remove_job(*, job: Job, reason: str, by: User, now: datetime) -> None:
    """Take a job out that was never done; coats, grades and photographs go with it, the audit trail
    stays."""
    if not by.may_manage:
        raise JobError("reason", "Only the owner may remove a job.")
    reason = reason.strip()
    if not reason:
        raise JobError("reason", "Say why the job is removed.")
    job.removal_reason = reason
    visit = job.visit
    names = [photo.image.name or "" for photo in job.photos.all()]
    job.photos.all().delete()
    deck_id = job.deck_id
    bookings.reopen_bookings_of_job(job=job, now=now)
    job.delete()
    if visit:
        visit.delete()
    decks_changed.send(Job, deck_ids=[deck_id], now=now)
    transaction.on_commit(lambda: delete_photo_files(names))


def follow_job_changes(*, deck_ids: Collection[int], now: datetime) -> None:
    """After jobs were logged or corrected: offers that they overtook end, apps above follow."""
    withdraw_offers_of_coated_decks(deck_ids=deck_ids, now=now)
    decks_changed.send(Job, deck_ids=deck_ids, now=now)


def check_new_job(new: NewJob, deck: Deck, today: date) -> None:
    check_loggable(deck, new.work.details["finished_on"], today)
    check_span(new.work.details)
    if not new.may_repeat:
        check_not_logged(deck, new.work.details)


def check_loggable(deck: Deck, finished_on: date, today: date) -> None:
    if deck.archived_at or deck.site.client.archived_at:
        raise JobError(
            "deck",
            f"{deck} is archived. Bring it back from the archive first, or choose another deck.",
        )
    check_work_date(finished_on, today)


def check_not_logged(deck: Deck, details: Mapping[str, Any]) -> None:
    """Raises `LoggedBeforeError`; two phones in the same instant wait for each other here."""
    lock_until_commit(f"jobs of deck {deck.pk}")
    same = {name: details.get(name) for name in ("kind", "finished_from", "finished_on")}
    if there := Job.objects.filter(deck=deck, **same).order_by("-id").first():
        raise LoggedBeforeError(there)


def booking_to_close(new: NewJob) -> Booking | None:
    """The one that the page was opened for. Raises `BookingMovedError`."""
    booking = new.booking
    if booking is None or booking.first_on <= new.work.details["finished_on"]:
        return booking
    if new.moved_booking not in {"done", "stays"}:
        raise BookingMovedError(booking)
    return booking if new.moved_booking == "done" else None


def check_work_date(on: date, today: date, field: str = "finished_on") -> None:
    if on > today:
        raise JobError(
            field, "This day is in the future. Write the day on which the work was finished."
        )
    if on < EARLIEST_JOB_DAY:
        raise JobError(field, "Write a day from 1950 on.")


def check_span(details: Mapping[str, Any]) -> None:
    """A span begins before it ends, and not before anybody kept books."""
    first = details.get("finished_from")
    if first is None:
        return
    if first >= details["finished_on"]:
        raise JobError("finished_on", "The first possible day must come before the last one.")
    if first < EARLIEST_JOB_DAY:
        raise JobError("finished_on", "Write a day from 1950 on.")


def with_currency(details: Mapping[str, Any], business: Business) -> Mapping[str, Any]:
    """A price carries the currency of its day."""
    if "amount" not in details:
        return details
    return {**details, "currency": business.currency if details["amount"] is not None else ""}


def save_visit_of_job(visit: Visit, work: JobInput) -> Visit | None:
    """The visit on which the job was done, saved;
    None when nothing was found and no reason given."""
    findings = work.findings
    if all(value in (None, "") for value in findings.values()):
        if visit.pk:
            visit.delete()
        return None
    day = work.details["finished_on"]
    who = work.details.get("crew", "")
    reason = findings.get("reason") or Visit.Reason.OTHER
    is_new = visit.pk is None
    values = {**findings, "reason": reason, "visited_on": day, "found_by": who}
    if save_if_changed(visit, values) and not is_new:
        GradeExample.objects.no_longer_true_of(visit).delete()
    return visit
