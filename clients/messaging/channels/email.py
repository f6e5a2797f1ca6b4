"""E-mail over SMTP: one connection for many messages, one recipient a message, and an exact account
of each try.

Django's own backend (its EMAIL_* settings) opens the connection; the dialogue is ours, because only
the phase that was reached tells whether a message may ever be tried again (RFC 1047;
docs/owner.md, "What the states mean").
"""

import contextlib
import smtplib

from django.conf import settings
from django.core.mail.backends.smtp import EmailBackend
from django.utils import timezone

from clients.messaging.channels.mime import (
    SenderIdentity,
    ascii_domain_address,
    compose_email,
    dot_stuff,
    needs_utf8,
)
from clients.messaging.channels.transport import (
    SendOutcome,
    SendPermit,
    SendResult,
    TransportDownError,
)
from clients.messaging.models import Message
from clients.models import Business

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


class SmtpTransport:
    """Keeps `contract.Line` for e-mail."""

    def __init__(self, business: Business) -> None:
        self.identity = SenderIdentity.for_business(business)
        self.smtp: smtplib.SMTP | None = None
        self.has_sent = False
        self.lease_seconds: float = (SMTP_PHASES + 1) * (settings.EMAIL_TIMEOUT or 60) + 60

    @property
    def is_open(self) -> bool:
        return self.smtp is not None

    def connect(self) -> None:
        backend = EmailBackend()
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
