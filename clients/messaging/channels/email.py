"""E-mail over SMTP: one connection for many messages, one recipient a message, and an exact account
of each try.

Django's own backend (its EMAIL_* settings) opens the connection; the dialogue is ours, because only
the phase that was reached tells whether a message may ever be tried again (RFC 1047;
docs/owner.md, "What the states mean").

The message as bytes, with the headers that a reminder owes its reader: RFC 5322 (format), 2045–2047
(MIME), 2369 and 8058 (unsubscribing), 3834 (by a machine), 6532 (letters beyond ASCII). Written out
here rather than by `email.message`, which takes longer than handing the message over.
"""

import base64
import binascii
import contextlib
import re
import smtplib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from email.header import Header
from email.utils import encode_rfc2231, format_datetime, formataddr
from functools import partial

from django.conf import settings
from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.smtp import EmailBackend
from django.utils import timezone

from clients.messaging import message_keys
from clients.messaging.channels.transport import (
    SendOutcome,
    SendPermit,
    SendResult,
    TransportDownError,
)
from clients.messaging.models import SMTP_BACKEND, Attachment, MailServer, Message
from clients.messaging.suppression import ascii_domain
from clients.messaging.texts import LOGO_CONTENT_ID
from clients.models import Business
from clients.outward import outward_addresses
from clients.sealing import SealError

MAX_LINE_LENGTH = 998  # RFC 5322, 2.1.1
FOLD_POINTS = re.compile(r"(.{40,66}) (?=[^ ])")  # RFC 5322, 2.2.3: at a space, which stays
UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+")
LEADING_DOT = re.compile(rb"^\.", re.MULTILINE)


@dataclass(frozen=True)
class SenderIdentity:
    """What all messages of a business have in common."""

    business: Business
    sender: str
    reply_to: str
    logo: bytes = b""

    @classmethod
    def for_business(cls, business: Business) -> "SenderIdentity":
        name = header_value(business.name, "From", always=True)
        sender = f"{name} <{ascii_domain_address(business.sender)}>"
        reply_to = ascii_domain_address(business.email or business.sender)
        return cls(business, sender, reply_to, business.logo_content)

    def shows_logo(self, message: Message) -> bool:
        """Whether the HTML of this message asks for it, and it is there."""
        return bool(self.logo) and f"cid:{LOGO_CONTENT_ID}" in message.html


def ascii_domain_address(address: str) -> str:
    """The address with its domain in ASCII; the local part stays as it is."""
    local, _, domain = address.rpartition("@")
    return f"{local}@{ascii_domain(domain)}"


def needs_utf8(address: str) -> bool:
    """RFC 6531: a local part beyond ASCII goes only through servers that offer SMTPUTF8."""
    return not address.rpartition("@")[0].isascii()


def header_value(text: str, name: str, *, always: bool = False) -> str:
    """A value that cannot start another header: no line ends, RFC 2047 where it is not ASCII."""
    clean = UNPRINTABLE.sub(" ", text).strip()
    if always:  # a phrase before an address: quoted or encoded
        return (
            formataddr((clean, "x@x")).removesuffix(" <x@x>")
            if clean.isascii()
            else encode_header(clean, name)
        )
    return FOLD_POINTS.sub("\\1\r\n ", clean) if clean.isascii() else encode_header(clean, name)


def encode_header(text: str, name: str) -> str:
    return Header(text, "utf-8", maxlinelen=76, header_name=name).encode(linesep="\r\n")


def compose_email(head: SenderIdentity, message: Message, *, now: datetime) -> bytes:
    """The message as it goes over the wire (lines that begin with a dot are not yet doubled)."""
    top = "\r\n".join([*message_headers(head, message, now), ""]).encode()
    files = attachments_of(message)
    if not files:
        return top + body_part(head, message)
    return top + multipart(
        "mixed",
        mime_boundary(message, "m"),
        [body_part(head, message), *map(attachment_part, files)],
    )


def attachments_of(message: Message) -> list[Attachment]:
    """What is attached. A claimed message says whether there is anything, and has it at hand
    (outbox/steps.py)."""
    return list(message.attachments.all()) if getattr(message, "has_files", True) else []


def body_part(head: SenderIdentity, message: Message) -> bytes:
    """The text, and its HTML beside it if there is any, with the logo that it shows (RFC 2387)."""
    plain = text_part("plain", message.text)
    if not message.html:
        return plain
    rich = text_part("html", message.html)
    if head.shows_logo(message):
        subtype = 'related; type="text/html"'
        rich = multipart(subtype, mime_boundary(message, "r"), [rich, logo_part(head.logo)])
    return multipart("alternative", mime_boundary(message), [plain, rich])


def logo_part(logo: bytes) -> bytes:
    """A picture that the HTML names by its identification (RFC 2392)."""
    head = (
        "Content-Type: image/png\r\nContent-Transfer-Encoding: base64\r\n"
        f"Content-ID: <{LOGO_CONTENT_ID}>\r\nContent-Disposition: inline\r\n\r\n"
    )
    return head.encode() + base64.encodebytes(logo).replace(b"\n", b"\r\n")


def mime_boundary(message: Message, which: str = "") -> str:
    """What parts one piece from the next; no mark begins like another (RFC 2046, 5.1.1)."""
    return f"={which}_{message.message_id.strip('<>').partition('@')[0]}"


def multipart(subtype: str, mark: str, pieces: Sequence[bytes]) -> bytes:
    head = f'Content-Type: multipart/{subtype}; boundary="{mark}"\r\n\r\n'.encode()
    between = f"--{mark}\r\n".encode()
    return head + b"".join(between + piece for piece in pieces) + f"--{mark}--\r\n".encode()


def attachment_part(file: Attachment) -> bytes:
    """A file with its name (RFC 2183; RFC 2231 for letters beyond ASCII), in base64."""
    if file.name.isascii():
        plain = file.name.replace("\\", "\\\\").replace('"', '\\"')
        name = f'filename="{plain}"'
    else:
        name = f"filename*={encode_rfc2231(file.name, 'utf-8')}"
    head = (
        f"Content-Type: {file.media_type}\r\nContent-Transfer-Encoding: base64\r\n"
        f"Content-Disposition: attachment;\r\n {name}\r\n\r\n"
    )
    return head.encode() + base64.encodebytes(bytes(file.content)).replace(b"\n", b"\r\n")


def message_headers(head: SenderIdentity, message: Message, now: datetime) -> list[str]:
    return [
        f"From: {head.sender}",
        f"To: {ascii_domain_address(message.address)}",
        f"Subject: {header_value(message.subject, 'Subject')}",
        f"Date: {format_datetime(now.astimezone(head.business.zone))}",
        f"Message-ID: {message.message_id}",
        f"Reply-To: {head.reply_to}",
        "Auto-Submitted: auto-generated",
        *unsubscribe_headers(message_keys.unsubscribe_link(head.business, message)),
        "MIME-Version: 1.0",
    ]


def unsubscribe_headers(link: str) -> list[str]:
    """One click only where the link is HTTPS, as RFC 8058 (3.1) demands."""
    if not link:
        return []
    one_click = (
        ["List-Unsubscribe-Post: List-Unsubscribe=One-Click"] if link.startswith("https://") else []
    )
    return [f"List-Unsubscribe: <{link}>", *one_click]


def text_part(subtype: str, text: str) -> bytes:
    """One body with its own headers, in seven bits, so that any server takes it unchanged."""
    content = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").encode() + b"\n"
    way = "7bit"
    if not content.isascii() or max(map(len, content.split(b"\n"))) > MAX_LINE_LENGTH:
        way = "quoted-printable"
        content = binascii.b2a_qp(content)
    charset = "us-ascii" if way == "7bit" else "utf-8"
    head = (
        f'Content-Type: text/{subtype}; charset="{charset}"\r\nContent-Transfer-Encoding:'
        f" {way}\r\n\r\n"
    )
    return head.encode() + content.replace(b"\n", b"\r\n")


def dot_stuff(content: bytes) -> bytes:
    """As it follows the 354 reply: leading dots doubled, closed by the final dot (RFC 5321,
    4.5.2)."""
    has_any = (
        content.startswith(b".") or b"\n." in content
    )  # looked for first: to find none takes a regex long
    return (LEADING_DOT.sub(b"..", content) if has_any else content) + b".\r\n"


# connect, EHLO, TLS, EHLO, log in, MAIL, RCPT, DATA: each may take EMAIL_TIMEOUT, and so may the
# last reply
SMTP_PHASES = 8
NO_SMTPUTF8 = (
    "The mail server takes no addresses with letters beyond ASCII (it does not offer SMTPUTF8)."
)
MAX_SMTP_REPLY_LENGTH = 500
QUIT_SECONDS = 3


class SmtpRefusedError(Exception):
    """A reply other than the one that the phase needs; nothing was handed over."""

    def __init__(self, code: int, reply: str) -> None:
        super().__init__(reply)
        self.code = code
        self.reply = reply


class OutwardMailBackend(EmailBackend):
    """Connects only where a setting may lead."""

    def open(self) -> bool | None:
        if self.connection is None:
            outward_addresses(self.host, self.port, may_be_own=True)
        return super().open()


def backend_maker() -> Callable[[], EmailBackend]:
    """By the environment, if it names a server; else by what was entered on the page of the mail
    server; else by Django's settings. Reads the database now, and not when it is called. Raises
    `SealError`."""
    kept = MailServer.in_use()
    if kept is None:
        return OutwardMailBackend
    return partial(
        OutwardMailBackend,
        host=kept.host,
        port=kept.port,
        username=kept.username,
        password=kept.password,
        use_tls=kept.security == MailServer.Security.STARTTLS,
        use_ssl=kept.security == MailServer.Security.TLS,
    )


def mail_connection() -> BaseEmailBackend:
    """What mail to the people of the business goes by: the same as the outbox."""
    if settings.OUTBOX_BACKEND == SMTP_BACKEND:
        return backend_maker()()
    return get_connection(settings.OUTBOX_BACKEND)


class SmtpTransport:
    """Keeps `contract.Line` for e-mail."""

    def __init__(self, business: Business) -> None:
        self.identity = SenderIdentity.for_business(business)
        self.smtp: smtplib.SMTP | None = None
        self.has_sent = False
        # a connection is made anew while the database has an answer open, which allows no query
        self.make_backend: Callable[[], EmailBackend] | None = None
        self.lease_seconds: float = (SMTP_PHASES + 1) * (settings.EMAIL_TIMEOUT or 60) + 60

    @property
    def is_open(self) -> bool:
        return self.smtp is not None

    def connect(self) -> None:
        try:
            self.make_backend = self.make_backend or backend_maker()
            backend = self.make_backend()
        except SealError as error:
            raise TransportDownError(str(error)) from error
        try:
            backend.open()
            self.smtp = backend.connection
            self.has_sent = False
            assert self.smtp is not None  # noqa: S101 - open says so or raises
            self.smtp.ehlo_or_helo_if_needed()
        except (OSError, smtplib.SMTPException) as error:
            self.hang_up()
            with contextlib.suppress(OSError, smtplib.SMTPException):
                backend.close()  # a connection that was opened in part, say before a refused log-in
            raise TransportDownError(smtp_error_text(error)) from error

    def send(self, message: Message, permit: SendPermit) -> SendOutcome:
        try:
            content = self.open_envelope(message, permit)
        except SmtpRefusedError as refusal:
            self.reset(refusal.code)
            return SendOutcome(
                SendResult.REFUSED if 500 <= refusal.code < 600 else SendResult.NOT_NOW,
                refusal.reply,
            )
        except (OSError, smtplib.SMTPException, TransportDownError) as error:
            self.hang_up()
            return SendOutcome(SendResult.NOT_NOW, smtp_error_text(error))
        except BaseException:
            self.hang_up()  # an answer may be unread, which the next message would take for its own
            raise
        if not permit.is_granted():
            self.hang_up()  # the server waits for the text; only hanging up takes the envelope back
            return SendOutcome(SendResult.WITHHELD)
        return self.send_content(content)

    def open_envelope(self, message: Message, permit: SendPermit) -> bytes:
        """MAIL, RCPT, DATA; once more on a new connection if the server had closed one that was in
        use."""
        try:
            return self.send_envelope(message, permit)
        except (OSError, smtplib.SMTPException, SmtpRefusedError) as error:
            is_closing = not isinstance(error, SmtpRefusedError) or error.code == 421
            if not (self.has_sent and is_closing):
                raise
            self.hang_up()
            self.connect()
            return self.send_envelope(message, permit)

    def send_envelope(self, message: Message, permit: SendPermit) -> bytes:
        """The database makes the final check, and the text is written, while the server is busy."""
        assert self.smtp is not None  # noqa: S101 - connect came first
        recipient = ascii_domain_address(message.address)
        self.smtp.putcmd(f"MAIL FROM:<{self.return_path(message)}>{self.smtputf8_option(message)}")
        permit.request()
        content = dot_stuff(compose_email(self.identity, message, now=timezone.now()))
        expect_reply(self.smtp.getreply(), 250)
        expect_reply(self.smtp.docmd(f"RCPT TO:<{recipient}>"), 250, 251)
        expect_reply(self.smtp.docmd("DATA"), 354)
        return content

    def smtputf8_option(self, message: Message) -> str:
        """RFC 6531 where an address needs it; the encoding of our commands follows."""
        assert self.smtp is not None  # noqa: S101 - connect came first
        is_needed = needs_utf8(message.address) or needs_utf8(self.identity.business.sender)
        if is_needed and not self.smtp.has_extn("smtputf8"):
            raise SmtpRefusedError(553, NO_SMTPUTF8)
        self.smtp.command_encoding = "utf-8" if is_needed else "ascii"
        return " SMTPUTF8" if is_needed else ""

    def return_path(self, message: Message) -> str:
        """Where bounces go: with an address for them, one of its own for each message (VERP)."""
        business = self.identity.business
        if not business.bounce_email:
            return ascii_domain_address(business.sender)
        local, _, domain = ascii_domain_address(business.bounce_email).rpartition("@")
        key = message.message_id.strip("<>").partition("@")[0]
        own = f"{local}+{key}"
        return f"{own if len(own) <= 64 else local}@{domain}"

    def send_content(self, content: bytes) -> SendOutcome:
        """From here on a lost answer means that nobody knows."""
        assert self.smtp is not None  # noqa: S101 - the dialogue came first
        try:
            self.smtp.send(content)
            code, words = self.smtp.getreply()
        except (OSError, smtplib.SMTPException) as error:
            self.hang_up()
            return SendOutcome(SendResult.UNKNOWN, smtp_error_text(error))
        self.has_sent = True
        result = {2: SendResult.ACCEPTED, 4: SendResult.NOT_NOW, 5: SendResult.REFUSED}.get(
            code // 100, SendResult.UNKNOWN
        )
        if code == 421 or result is SendResult.UNKNOWN:
            self.hang_up()
        return SendOutcome(result, smtp_reply_text(code, words))

    def reset(self, code: int) -> None:
        """Ready for the next message, or hung up."""
        try:
            if code == 421 or self.smtp is None or self.smtp.rset()[0] != 250:
                self.hang_up()
        except (OSError, smtplib.SMTPException):
            self.hang_up()

    def hang_up(self) -> None:
        smtp = self.smtp
        self.smtp = None
        if smtp is not None:
            with contextlib.suppress(OSError, smtplib.SMTPException):
                smtp.close()

    def close(self) -> None:
        """Say goodbye, but do not wait long for the answer."""
        if self.smtp is not None and self.smtp.sock is not None:
            with contextlib.suppress(OSError, smtplib.SMTPException):
                self.smtp.sock.settimeout(QUIT_SECONDS)
                self.smtp.quit()
        self.hang_up()


def expect_reply(answer: tuple[int, bytes], *codes: int) -> None:
    if answer[0] not in codes:
        raise SmtpRefusedError(answer[0], smtp_reply_text(*answer))


def smtp_reply_text(code: int, words: bytes) -> str:
    """A reply on one line, as far as the outbox keeps it."""
    return " ".join(f"{code} {words.decode(errors='replace')}".split())[:MAX_SMTP_REPLY_LENGTH]


def smtp_error_text(error: Exception) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        words = error.smtp_error
        return smtp_reply_text(
            error.smtp_code, words if isinstance(words, bytes) else str(words).encode()
        )
    return (str(error) or type(error).__name__)[:MAX_SMTP_REPLY_LENGTH]
