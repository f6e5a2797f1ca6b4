"""At the end of a job: the client's word that it is done, what they agree to hear by which way, and the care record."""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from clients import outbox, suppression, texts
from clients.actions.people import record_consent
from clients.models import Business, Channel, Consent, Message, MessageText, User
from clients.outbox.permission import address_for
from jobs.care_record import care_record, in_short
from jobs.models import Job, SignOff
from jobs.pdf import care_record_pdf
from jobs.sign_off import Ask


class CareRecordError(ValueError):
    """The care record cannot go out by e-mail; the message says why and what to do."""


@transaction.atomic
def sign_off(
    *, job: Job, name: str, wording: str, agreed: Collection[Ask], wants_record: bool, by: User | None, now: datetime
) -> SignOff:
    """Keep what was read and signed, and a consent in writing for each box that was ticked; once a job.

    A box that was left empty says nothing: it is no withdrawal. Raises `CareRecordError`, `Unsendable`.
    """
    Job.objects.select_for_update(of=("self",)).get(pk=job.pk)  # a second tap waits, and then sees the first
    if there := SignOff.objects.filter(job=job).first():
        return there
    signed = SignOff.objects.create(job=job, name=name.strip(), wording=wording, signed_at=now, recorded_by=by)
    for ask in agreed:
        record_consent(
            client=job.deck.property.client, channel=ask.channel, is_given=True, basis=Consent.Basis.WRITTEN,
            wording=ask.wording, evidence=f"Ticked and signed as {signed.name[:120]} at the sign-off of job {job.pk}",
            by=by, now=now, is_welcome_again=True,
        )  # fmt: skip
    if wants_record:
        send_care_record(job=job, by=by, now=now)
    return signed


@transaction.atomic
def send_care_record(*, job: Job, by: User | None, now: datetime) -> tuple[Message, bool]:
    """Queue the care record by e-mail, once a job (False: it was queued before).

    It is a message about work that was done, so it needs no consent; an address that refuses all mail gets none.
    Raises `CareRecordError`, `Unsendable`.
    """
    client, record = job.deck.property.client, care_record(job)
    address = checked_address(job)
    written = texts.write(
        purpose=MessageText.Purpose.CARE, channel=Channel.EMAIL, language=client.language,
        fields={"greeting": client.greeting, "decks": str(job.deck), "care": in_short(record)},
    )  # fmt: skip
    return outbox.queue_message(
        client=client, kind=Message.Kind.SERVICE, channel=Channel.EMAIL, address=address, subject=written.subject,
        text=written.text, html=written.html, key=f"care/{job.pk}/email", consent=None, basis="service", now=now, by=by,
        language=written.language,
        attachments=[(f"care-record-{job.finished_on}.pdf", "application/pdf", care_record_pdf(record))],
    )  # fmt: skip


def checked_address(job: Job) -> str:
    """Where the record goes."""
    client = job.deck.property.client
    address = address_for(client, Channel.EMAIL)
    if not address:
        raise CareRecordError("There is no e-mail address in use. Print the record, or add an address to the client.")
    if suppression.suppressed(business=Business.objects.get(), channel=Channel.EMAIL, addresses=[address]):
        raise CareRecordError("This address asked not to be written to. Print the record instead.")
    if client.archived_at:
        raise CareRecordError("The client is archived. Print the record instead.")
    return address
