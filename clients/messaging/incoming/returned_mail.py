"""A mail that came back, taken apart: what it reports, and about which message of ours.
Knows no database, no clock.

RFC 3464 (delivery reports), 3463 (their codes), 3834 (automatic answers), 5965 (complaints); other
forms are read by flufl.bounce.
"""

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass
from email import message_from_bytes, message_from_string
from email.header import decode_header, make_header
from email.message import Message as Mail
from enum import Enum

import flufl.bounce

# The left part of a Message-ID of ours, which is also the key in the return path (message_keys.py,
# channels/email.py).
MESSAGE_KEY_PATTERN = r"([0-9a-f]{32}(?:\.[0-9]{1,6})?)"
KEY_IN_ADDRESS = re.compile(rf"\+{MESSAGE_KEY_PATTERN}@", re.IGNORECASE)
KEY_IN_MESSAGE_ID = re.compile(rf"<{MESSAGE_KEY_PATTERN}@", re.IGNORECASE)
RECIPIENT_HEADERS = ["Delivered-To", "X-Original-To", "Envelope-To", "To", "Cc"]
REFERENCE_HEADERS = ["In-Reply-To", "References"]
STATUS_CODE_PATTERN = re.compile(
    r"(?<![\d.])([245])\.(\d{1,3})\.(\d{1,3})(?![\d.]*\d)"
)  # and no number of the internet
# RFC 3463: X.1 is about the address, X.2.0 and X.2.1 about the mailbox, X.0 and X.4 (no such host)
# about neither in particular. A full mailbox, the network, and above all policy (X.7: we are taken
# for a nuisance) are no fault of it.
ADDRESS_FAULTS = re.compile(r"5\.(0\.0|1\.[0-46]|1\.10|2\.[01]|4\.4)")
UNDEFINED_STATUS = "5.0.0"
ABUSE_FEEDBACK = "abuse"  # RFC 5965, 7.3: unwanted; the other kinds are no word of the recipient
MAX_DIAGNOSTIC_LENGTH = 300
MAX_MAIL_BYTES = 1_000_000  # bytes that are read; what is longer has its report in the first part
logger = logging.getLogger(__name__)


class MailReport(Enum):
    """What the mail says became of the message."""

    DELIVERED = "It arrived, the mail server reports."
    PASSED_ON = "It was passed on, the mail server reports."
    DELAYED = "It is late; the mail server goes on trying."
    FAILED = "It came back."
    ANSWERED_BY_MACHINE = "An automatic answer to it came."
    ANSWERED = "Somebody answered it at the address for bounces."
    NOT_SENT = "The mail service did not send it."
    COMPLAINED = "The recipient reported it as unwanted."
    UNSUBSCRIBED = "The recipient told the mail service to send no more."
    NONE = "It reports nothing."


REPORT_BY_ACTION = {
    "delivered": MailReport.DELIVERED,
    "relayed": MailReport.PASSED_ON,
    "expanded": MailReport.PASSED_ON,
    "delayed": MailReport.DELAYED,
    "failed": MailReport.FAILED,
}


@dataclass(frozen=True)
class ReturnedMail:
    """`key` is the left part of the Message-ID it is about, empty if it names none of ours.

    `is_gone` says whether the address is at fault where no code does (a mail service); None leaves
    that to the code.
    """

    report: MailReport
    key: str = ""
    status: str = ""
    words: str = ""
    sender: str = ""
    is_address_gone: bool | None = None
    opts_out: bool = False

    @property
    def may_be_ours(self) -> bool:
        """It names a message of ours, or reports a trouble without saying of which message."""
        return bool(self.key) or self.report in {MailReport.FAILED, MailReport.DELAYED}

    @property
    def has_failed(self) -> bool:
        return self.report in {MailReport.FAILED, MailReport.NOT_SENT}

    @property
    def is_address_at_fault(self) -> bool:
        """It failed for good, and because of the address: nobody should write there again."""
        by_code = bool(ADDRESS_FAULTS.fullmatch(self.status))
        return self.has_failed and (
            by_code if self.is_address_gone is None else self.is_address_gone
        )

    @property
    def why(self) -> str:
        """Code and words of the server, which often repeat the code."""
        return self.words if self.status in self.words else f"{self.status} {self.words}".strip()

    def summary(self) -> str:
        """For the history of the message: what, and why."""
        return f"{self.report.value} {self.why}".strip()[:500]


def normalize_mail(content: bytes) -> bytes:
    """The first megabyte. A mailbox and a file end their lines differently; it is the same mail all
    the same."""
    return content[:MAX_MAIL_BYTES].replace(b"\r\n", b"\n").strip() + b"\n"


def read_kept_mail(raw: str) -> ReturnedMail:
    return read_returned_mail(raw.encode())


def read_returned_mail(content: bytes) -> ReturnedMail:
    """Never raises: what cannot be read reports nothing."""
    try:
        return interpret_mail(message_from_bytes(content))
    except Exception:  # strangers write these, and no mail may keep the next ones from being read
        logger.exception("A mail among the bounces cannot be read")
        return ReturnedMail(MailReport.NONE, words="It cannot be read.")


def interpret_mail(mail: Mail) -> ReturnedMail:
    key = referenced_key(mail)
    sender = header_line(mail, "From")
    if kind := feedback_type(mail):
        if kind == ABUSE_FEEDBACK:
            return ReturnedMail(MailReport.COMPLAINED, key, sender=sender, opts_out=True)
        return ReturnedMail(MailReport.ANSWERED_BY_MACHINE, key, sender=sender)
    if (block := recipient_block(mail)) is not None:
        report = REPORT_BY_ACTION[block_action(block)]
        status = block_status(block) or (UNDEFINED_STATUS if report is MailReport.FAILED else "")
        return ReturnedMail(report, key, status, block_diagnosis(block), sender)
    temporary, permanent = flufl.bounce.all_failures(mail)
    if permanent:
        return ReturnedMail(
            MailReport.FAILED, key, status_in_text(mail) or UNDEFINED_STATUS, "", sender
        )
    if temporary:
        return ReturnedMail(MailReport.DELAYED, key, "", "", sender)
    if is_automatic_mail(mail):
        return ReturnedMail(MailReport.ANSWERED_BY_MACHINE, key, sender=sender)
    return ReturnedMail(
        MailReport.ANSWERED if key else MailReport.NONE,
        key,
        words=header_line(mail, "Subject"),
        sender=sender,
    )


def feedback_type(mail: Mail) -> str:
    """The kind of a complaint that a mailbox provider passes on (RFC 5965, 3.1), else nothing."""
    parts = (
        part.get_payload()
        for part in mail.walk()
        if part.get_content_type() == "message/feedback-report"
    )
    fields = (
        each
        for payload in parts
        if isinstance(payload, list)
        for each in payload
        if isinstance(each, Mail)
    )
    return next(
        (kind.lower() for each in fields if (kind := header_line(each, "Feedback-Type"))), ""
    )


def recipient_block(mail: Mail) -> Mail | None:
    """The block about the recipient; of several the one that is best for us, since each message has
    one recipient."""
    blocks = [block for block in status_blocks(mail) if block_action(block) in REPORT_BY_ACTION]
    return min(
        blocks, key=lambda block: list(REPORT_BY_ACTION).index(block_action(block)), default=None
    )


def status_blocks(mail: Mail) -> Iterator[Mail]:
    """The blocks of message/delivery-status, which the standard library parses as mails without a
    body, and of message/global-delivery-status about addresses beyond ASCII (RFC 6533)."""
    for part in mail.walk():
        kind = part.get_content_type()
        if kind in {"message/delivery-status", "message/global-delivery-status"}:
            payload = part.get_payload()
            for each in payload if isinstance(payload, list) else []:
                if isinstance(each, Mail):
                    yield each
                    yield from later_blocks(part, each) if "global" in kind else ()


def later_blocks(part: Mail, first: Mail) -> Iterator[Mail]:
    """The standard library takes the first block for the head of a mail, and the blocks about
    recipients for its text, which may be encoded."""
    first["Content-Transfer-Encoding"] = part.get("Content-Transfer-Encoding", "8bit")
    content = first.get_payload(decode=True)
    text = content.decode("utf-8", "replace") if isinstance(content, bytes) else ""
    blocks = text.replace("\r\n", "\n").split("\n\n")
    yield from (message_from_string(block) for block in blocks if block.strip())


def block_action(block: Mail) -> str:
    return header_line(block, "Action").partition(" ")[0].partition("(")[0].strip().lower()


def block_status(block: Mail) -> str:
    """RFC 3464, 2.3.4; servers add words to it."""
    found = STATUS_CODE_PATTERN.search(header_line(block, "Status")) or STATUS_CODE_PATTERN.search(
        header_line(block, "Diagnostic-Code")
    )
    return found[0] if found else ""


def block_diagnosis(block: Mail) -> str:
    return header_line(block, "Diagnostic-Code").partition(";")[2].strip()[:MAX_DIAGNOSTIC_LENGTH]


def status_in_text(mail: Mail) -> str:
    """Bounces that keep no standard quote the code somewhere in their text."""
    found = (STATUS_CODE_PATTERN.search(text) for text in text_bodies(mail))
    codes = [match[0] for match in found if match and match[1] == "5"]
    return codes[0] if codes else ""


def is_automatic_mail(mail: Mail) -> bool:
    """RFC 3834, 2: Auto-Submitted other than "no"; the others are custom (from memory)."""
    automatic = header_line(mail, "Auto-Submitted").partition(";")[0].strip().lower()
    return (
        automatic not in {"", "no"}
        or header_line(mail, "Precedence").lower() in {"bulk", "junk", "auto_reply"}
        or header_line(mail, "Return-Path") == "<>"
        or bool(mail["X-Autoreply"] or mail["X-Autorespond"])
    )


def referenced_key(mail: Mail) -> str:
    """By the address it was sent to, else the Message-ID that it answers or quotes."""
    for headers, pattern in (
        (RECIPIENT_HEADERS, KEY_IN_ADDRESS),
        (REFERENCE_HEADERS, KEY_IN_MESSAGE_ID),
    ):
        if found := pattern.search(" ".join(header_line(mail, name) for name in headers)):
            return found[1].lower()
    quoted = (
        KEY_IN_MESSAGE_ID.search(text) for text in [*quoted_message_ids(mail), *text_bodies(mail)]
    )
    return next((found[1].lower() for found in quoted if found), "")


def quoted_message_ids(mail: Mail) -> Iterator[str]:
    """Of the mail that is sent back as a whole."""
    yield from (header_line(part, "Message-ID") for part in mail.walk() if part is not mail)


def text_bodies(mail: Mail) -> Iterator[str]:
    """Plain text, and headers that are sent back as text (text/rfc822-headers)."""
    for part in mail.walk():
        if part.get_content_maintype() == "text":
            payload = part.get_payload(decode=True)
            yield payload.decode("utf-8", "replace") if isinstance(payload, bytes) else ""


def header_line(mail: Mail, name: str) -> str:
    """A header on one line, all of them if it stands there more than once."""
    return " ".join(
        " ".join(decode_mail_header(str(value)).split()) for value in mail.get_all(name, [])
    )


def decode_mail_header(value: str) -> str:
    try:
        return str(make_header(decode_header(value)))
    except (ValueError, LookupError):
        return value
