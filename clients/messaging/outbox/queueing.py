"""Putting a message into the outbox: checked, frozen, and at most once for a key."""

import logging
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import EmailValidator
from django.db import transaction

from clients.messaging import message_keys, sms_parts
from clients.messaging.models import Attachment, Consent, Message, MessageEvent, Sending
from clients.messaging.models.message import MARKETING_MESSAGE_KINDS
from clients.messaging.outbox.compliance import enforce_law_rule
from clients.messaging.public_address import why_not_public
from clients.messaging.readiness import require_ready
from clients.messaging.suppression import ascii_domain
from clients.messaging.texts import ComposedText
from clients.messaging.unsendable import Unsendable
from clients.models import AddressKind, Business, Client, User, traits_of

UNSUBSCRIBE_PLACEHOLDER = "{unsubscribe_url}"
MAX_SUBJECT_LENGTH = 300
MAX_TEXT_LENGTH = 100_000
MAX_SMS_PARTS = 10  # of a text message
MAX_ATTACHMENT_BYTES = 7_000_000  # bytes; in base64 a third more, and many servers take 10 MB
CONTROL_CHARACTERS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\u0085\u2028\u2029]")
E164_NUMBER = re.compile(r"\+[1-9][0-9]{3,14}")  # ITU-T E.164: at most 15 digits
MEDIA_TYPE_PATTERN = re.compile(r"[a-z]+/[A-Za-z0-9.+-]+(; ?[A-Za-z0-9-]+=[A-Za-z0-9.+-]+)*")
UNSAFE_IN_FILE_NAME = re.compile(r"[\x00-\x1f\x7f/\\\u0085\u2028\u2029]")
SINGLE_ADDRESS_PATTERN = re.compile(r"[^@\s<>,;:\"()\[\]\\]+@[^@\s<>,;:\"()\[\]\\]+")


AttachmentFile = tuple[str, str, bytes]  # name, media type, content
logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class OutgoingMessage:
    """What is to be said to one client, by which channel to which address, and what allows it.

    `kind` is one of `Message.Kind`. `key` names the occasion: there is one message a key.
    `basis` and `consent` (None where none is needed) are frozen with it, `written` holds the words
    with their language. Nothing goes before `not_before` (None: now), nor at or after `expires_at`
    (None: never too late). Attachments (name, media type, bytes) are frozen with it. Of a `sending`
    it waits until that can no longer be taken back.
    """

    client: Client
    kind: str
    channel: str
    address: str
    key: str
    basis: str
    written: ComposedText
    consent: Consent | None = None
    not_before: datetime | None = None
    expires_at: datetime | None = None
    attachments: Sequence[AttachmentFile] = ()
    sending: Sending | None = None


def queue_message(
    *, outgoing: OutgoingMessage, now: datetime, by: User | None = None
) -> tuple[Message, bool]:
    """Freeze a message and queue it; False means that the key was there already and nothing
    changed.

    A reminder or an offer by e-mail must hold ``{unsubscribe_url}`` in its text (and in its HTML,
    if it has any): this function makes the link and puts it in. Replacing is literal, no other
    braces mean anything. Call it inside the transaction of the decision. Raises `Unsendable` with
    a plain reason, which is logged too.
    """
    business = Business.objects.get()
    try:
        message = build_message(business, outgoing, now=now, by=by)
        check_attachments(outgoing.attachments, outgoing.channel)
        require_ready(business, outgoing.channel)
        enforce_law_rule(business, message, outgoing.client, today=business.today(now))
        insert_unsubscribe_link(business, message)
        check_public_links(message)
    except Unsendable as problem:
        logger.warning("Not queued (%s): %s", outgoing.key, problem)
        raise
    with transaction.atomic():
        new = store_new_messages([message], by=by, now=now)
        attach_files(new, outgoing.attachments)
    return new[0] if new else Message.objects.get(idempotency_key=outgoing.key), bool(new)


def draft_message(
    business: Business, outgoing: OutgoingMessage, *, now: datetime, by: User | None = None
) -> Message:
    """The message checked and frozen, not yet in the outbox; many are kept together by
    `store_new_messages`. It does not ask the law (see compliance.py): whoever calls it has. Nor
    does it keep attachments.
    """
    message = build_message(business, outgoing, now=now, by=by)
    insert_unsubscribe_link(business, message)
    check_public_links(message)
    return message


def build_message(
    business: Business, outgoing: OutgoingMessage, *, now: datetime, by: User | None
) -> Message:
    """As it will go, but for the link to unsubscribe."""
    held_until = outgoing.sending.held_until if outgoing.sending else None
    message = Message(
        client=outgoing.client,
        kind=outgoing.kind,
        channel=outgoing.channel,
        address=outgoing.address.strip(),
        subject=outgoing.written.subject.strip(),
        text=outgoing.written.text,
        html=outgoing.written.html,
        language=outgoing.written.language,
        consent=outgoing.consent,
        basis=outgoing.basis,
        idempotency_key=outgoing.key,
        queued_by=by,
        message_id=message_keys.make_message_id(business, outgoing.key),
        queued_at=now,
        sending=outgoing.sending,
        not_before=max(outgoing.not_before or now, held_until or now),
        expires_at=outgoing.expires_at,
    )
    check_message(message)
    return message


def check_message(message: Message) -> None:
    """Everything that a mail server or a header could stumble over is refused here, not at
    sending."""
    if CONTROL_CHARACTERS.search(message.subject) or "\n" in message.subject:
        raise Unsendable("The subject must be one line without control characters.")
    if len(message.subject) > MAX_SUBJECT_LENGTH:
        raise Unsendable(
            f"The subject has {len(message.subject)} characters; at most {MAX_SUBJECT_LENGTH} are"
            " possible."
        )
    if max(len(message.text), len(message.html)) > MAX_TEXT_LENGTH:
        raise Unsendable(f"The text is longer than {MAX_TEXT_LENGTH} characters.")
    if not message.text.strip() or "\x00" in message.text + message.html:
        raise Unsendable("The message has no text, or a character that is none.")
    check_for_channel(message)


def check_for_channel(message: Message) -> None:
    """What the channel needs besides."""
    traits = message.traits
    if traits.needs_subject and not message.subject:
        raise Unsendable("An e-mail needs a subject.")
    ADDRESS_CHECKS[traits.address](message.address)
    if (
        traits.has_opt_out_link
        and message.kind in MARKETING_MESSAGE_KINDS
        and UNSUBSCRIBE_PLACEHOLDER not in message.text
    ):
        raise Unsendable(
            f"The text of a reminder or offer must hold {UNSUBSCRIBE_PLACEHOLDER}, the link to"
            " unsubscribe."
        )
    parts = sms_parts.measure_sms(message.text).parts if traits.in_sms_parts else 0
    if parts > MAX_SMS_PARTS:
        raise Unsendable(
            f"The text would go out in {parts} parts; at most {MAX_SMS_PARTS} are possible."
        )


def check_mailbox(address: str) -> None:
    if not is_single_address(address):
        raise Unsendable(f"“{address[:80]}” is not one e-mail address.")


def check_number(address: str) -> None:
    if not E164_NUMBER.fullmatch(address.partition(";")[0]):
        raise Unsendable(f"“{address[:80]}” is not one telephone number in international form.")


def check_postal_address(address: str) -> None:
    if CONTROL_CHARACTERS.search(address) or not address:
        raise Unsendable("The postal address is empty, or holds a character that is none.")


ADDRESS_CHECKS = {
    AddressKind.MAILBOX: check_mailbox,
    AddressKind.NUMBER: check_number,
    AddressKind.POSTAL: check_postal_address,
}


def check_attachments(attachments: Sequence[AttachmentFile], channel: str) -> None:
    if attachments and not traits_of(channel).carries_files:
        raise Unsendable("Only an e-mail or a letter can have something attached.")
    for name, media_type, _ in attachments:
        if UNSAFE_IN_FILE_NAME.search(name) or not 0 < len(name) <= 120:
            raise Unsendable(f"“{name[:80]}” cannot be the name of an attachment.")
        if not MEDIA_TYPE_PATTERN.fullmatch(media_type) or len(media_type) > 120:
            raise Unsendable(f"“{media_type[:80]}” is no media type, such as application/pdf.")
    size = sum(len(content) for _, _, content in attachments)
    if size > MAX_ATTACHMENT_BYTES:
        raise Unsendable(
            f"The attachments have {size:,} bytes; at most {MAX_ATTACHMENT_BYTES:,} are possible."
        )


def attach_files(messages: Sequence[Message], attachments: Sequence[AttachmentFile]) -> None:
    """Freeze the files with each of these messages."""
    Attachment.objects.bulk_create(
        Attachment(message=message, name=name, media_type=media_type, content=content)
        for message in messages
        for name, media_type, content in attachments
    )


def is_single_address(address: str) -> bool:
    """One address, its local part in any alphabet (RFC 6531)."""
    if (
        len(address) > 254
        or CONTROL_CHARACTERS.search(address)
        or not SINGLE_ADDRESS_PATTERN.fullmatch(address)
    ):
        return False
    local, _, domain = address.rpartition("@")
    plain_local = "".join(letter if letter.isascii() else "x" for letter in local)
    try:
        EmailValidator()(f"{plain_local}@{ascii_domain(domain)}")
    except ValidationError:
        return False
    return True


def check_public_links(message: Message) -> None:
    """No client can open an address of this very machine; only the demo has no clients."""
    why = why_not_public(settings.BASE_URL)
    has_link = settings.BASE_URL in message.text or settings.BASE_URL in message.html
    if has_link and why and message.traits.machine and settings.BLOCK_UNREADY:
        raise Unsendable(f"{why} Set BASE_URL to the public address of the program.")


def insert_unsubscribe_link(business: Business, message: Message) -> None:
    if not message.traits.has_opt_out_link or message.kind not in MARKETING_MESSAGE_KINDS:
        return
    token = message_keys.unsubscribe_token(business, message.idempotency_key)
    message.unsubscribe_hash = message_keys.token_hash(token)
    message.text = message.text.replace(
        UNSUBSCRIBE_PLACEHOLDER, message_keys.unsubscribe_url(token)
    )
    message.html = message.html.replace(
        UNSUBSCRIBE_PLACEHOLDER, message_keys.unsubscribe_url(token)
    )


@transaction.atomic
def store_new_messages(
    messages: Sequence[Message], *, by: User | None, now: datetime
) -> list[Message]:
    """INSERT … ON CONFLICT DO NOTHING: those that were not there yet, each with its first line of
    history."""
    Message.objects.bulk_create(messages, ignore_conflicts=True, batch_size=1000)
    ours = Message.objects.filter(
        idempotency_key__in=[message.idempotency_key for message in messages]
    )
    new = list(ours.filter(events=None))  # every row that was there has its history
    first = [
        MessageEvent(message=message, state=message.state, note="", by=by, at=now)
        for message in new
    ]
    MessageEvent.objects.bulk_create(first, batch_size=1000)
    return new
