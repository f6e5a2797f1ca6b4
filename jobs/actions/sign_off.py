"""At the end of a job: the client's word that it is done, what they agree to hear by which way, and
the care record."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction

from clients.actions.clients import ConsentInput, record_consent
from clients.actions.saving import save_if_changed
from clients.messaging import outbox, texts
from clients.messaging.models import Consent, Message, MessageText
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route
from clients.models import Channel, User
from jobs.models import Job, SignOff
from jobs.pdf import care_record_pdf
from jobs.work import (
    NO_PHOTOS_NOTE,
    ConsentRequest,
    build_care_record,
    care_record_summary,
    waits_for_photos,
)


class CareRecordError(ValueError):
    """The care record cannot go out by e-mail; the message says why and what to do."""


@dataclass(frozen=True)
class Signature:
    """Who signed what: the name, the whole wording above it, the boxes ticked, whether the care
    record is wanted by e-mail, and the path of what was drawn with a finger."""

    name: str
    wording: str
    agreed: Collection[ConsentRequest] = ()
    wants_record: bool = False
    drawn: str = ""


@transaction.atomic
def do_without_photos(*, jobs: Sequence[Job], because: str) -> None:
    """Keep with the notes of each job that lacks them why there are no photos."""
    line = f"{NO_PHOTOS_NOTE} {because.strip()}"
    rows = Job.objects.select_for_update().filter(pk__in=[job.pk for job in jobs]).order_by("pk")
    for job in rows.prefetch_related("photos"):
        if waits_for_photos(job):
            save_if_changed(job, {"notes": "\n".join(filter(None, [job.notes, line]))})


@transaction.atomic
def sign_off_jobs(
    *, jobs: Sequence[Job], signature: Signature, by: User | None, now: datetime
) -> list[SignOff]:
    """Keep what was read and signed, and a consent in writing for each box that was ticked;
    once a job.

    The jobs are those of one property. A box that was left empty says nothing: it is no withdrawal.
    Signed again it changes nothing. Raises `CareRecordError`, `Unsendable`.
    """
    numbers = [job.pk for job in jobs]
    list(
        Job.objects.select_for_update().filter(pk__in=numbers).order_by("pk")
    )  # a second tap waits here
    done = set(SignOff.objects.filter(job__in=numbers).values_list("job_id", flat=True))
    new = [
        SignOff.objects.create(
            job=job,
            name=signature.name.strip(),
            wording=signature.wording,
            drawn=signature.drawn,
            signed_at=now,
            recorded_by=by,
        )
        for job in jobs
        if job.pk not in done
    ]
    for ask in signature.agreed if new else []:
        record_ticked_consent(ask, new, by, now)
    for signed in new if signature.wants_record else []:
        send_care_record(job=signed.job, by=by, now=now)
    return new


def record_ticked_consent(
    ask: ConsentRequest, signed: Sequence[SignOff], by: User | None, now: datetime
) -> None:
    """In writing; it also ends a refusal, as its wording says."""
    numbers = ", ".join(str(each.job_id) for each in signed)
    entry = ConsentInput(
        channel=ask.channel,
        is_given=True,
        basis=Consent.Basis.WRITTEN,
        wording=ask.wording,
        evidence=f"Ticked and signed as {signed[0].name[:120]} at the sign-off of job {numbers}",
        is_welcome_again=True,
        asked_by=str(by or ""),
        asked_where=Consent.AskedWhere.SIGN_OFF,
    )
    record_consent(client=signed[0].job.deck.site.client, entry=entry, by=by, now=now)


@transaction.atomic
def send_care_record(*, job: Job, by: User | None, now: datetime) -> tuple[Message, bool]:
    """Queue the care record by e-mail, once a job (False: it was queued before).

    It is a message about work that was done, so it needs no consent; an address that refuses all
    mail gets none. When the next work is due is an invitation to it, and stands in it only where
    we may invite (CASL s. 1(2): a message that encourages participation in a commercial activity).
    Raises `CareRecordError`, `Unsendable`.
    """
    client = job.deck.site.client
    contacts = Reach.of(client)
    route = care_record_route(job, contacts, now)
    record = build_care_record(job)
    if not may_invite(job, contacts, now):
        record = replace(record, forecast=None, is_inviting=False)
    written = texts.compose_text(
        purpose=MessageText.Purpose.CARE,
        channel=Channel.EMAIL,
        language=client.language,
        fields={
            "greeting": client.greeting,
            "decks": str(job.deck),
            "care": care_record_summary(record),
        },
    )
    outgoing = outbox.OutgoingMessage(
        client=client,
        kind=Message.Kind.SERVICE,
        channel=Channel.EMAIL,
        address=route.address,
        basis=route.permission.basis,
        key=f"care/{job.pk}/email",
        written=written,
        attachments=[(record.file_name, "application/pdf", care_record_pdf(record))],
    )
    return outbox.queue_message(outgoing=outgoing, now=now, by=by)


def may_invite(job: Job, contacts: Reach, now: datetime) -> bool:
    client = job.deck.site.client
    today = contacts.business.today(now)
    asked = contacts.route(client.pk, Channel.EMAIL, ContactPurpose.MARKETING, on=today)
    return isinstance(asked, Route)


def care_record_route(job: Job, contacts: Reach, now: datetime) -> Route:
    """By which the record goes."""
    client = job.deck.site.client
    if not contacts.address(client.pk, Channel.EMAIL):
        raise CareRecordError(
            "There is no e-mail address in use. Print the record, or add an address to the client."
        )
    today = contacts.business.today(now)
    answer = contacts.route(client.pk, Channel.EMAIL, ContactPurpose.SERVICE, on=today)
    if isinstance(answer, Refusal):
        raise CareRecordError(f"{answer.why} Print the record instead.")
    return answer
