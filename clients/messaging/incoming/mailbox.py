"""The mailbox that bounces come to, read by IMAP (RFC 3501, 9051). Nothing is deleted there;
what was read is marked.

Only for a mailbox of its own: every mail in it is marked as seen.
"""

import contextlib
import imaplib
import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.core.cache import cache

from clients.messaging.incoming.returned_mail import MAX_MAIL_BYTES

TIMEOUT_SECONDS = 15
MAX_MAILS_PER_PASS = 200
BROKEN_UID_KEY = "bounces-broke-off"  # in the cache that all processes share
CERTIFICATE_ADVICE = "Have it put right, or name the file of who signed it with BOUNCES_CA."


class MailboxError(Exception):
    """The mailbox cannot be reached, or does not let us in."""


def has_bounce_mailbox() -> bool:
    return bool(settings.BOUNCES_HOST)


def fetch_unseen_mails(
    take: Callable[[bytes], object],
    *,
    deadline_seconds: float = 30,
    clock: Callable[[], float] = time.monotonic,
) -> int:
    """Hand each unseen mail to `take`, then mark it as seen; stop at the deadline.
    How many were handed over.

    A mail that was taken and could not be marked comes again; `take` must not mind. Raises
    `MailboxError`.
    """
    until = clock() + deadline_seconds
    done = 0
    with open_mailbox() as imap:
        for uid in unseen_uids(imap)[:MAX_MAILS_PER_PASS]:
            if clock() >= until:
                break
            content = fetch_content(imap, uid)
            if content is not None:  # else somebody has taken it away meanwhile
                take(content)
                done += 1
                expect_ok(imap.uid("STORE", uid, "+FLAGS.SILENT", r"(\Seen)"))
    return done


@contextmanager
def open_mailbox() -> Iterator[imaplib.IMAP4]:
    """Logged in, with the mailbox chosen. What goes wrong with IMAP inside becomes a MailboxError;
    all else stays."""
    imap: imaplib.IMAP4 | None = None
    try:
        imap = connect_imap()
        imap.login(settings.BOUNCES_USER, settings.BOUNCES_PASSWORD)
        expect_ok(imap.select(f'"{settings.BOUNCES_MAILBOX}"'))
        yield imap
    except (OSError, imaplib.IMAP4.error, UnicodeError) as error:
        raise MailboxError(f"{settings.BOUNCES_HOST}: {mailbox_error_text(error)}") from error
    finally:
        if imap is not None:
            log_out_imap(imap)


def connect_imap() -> imaplib.IMAP4:
    host = settings.BOUNCES_HOST
    port = settings.BOUNCES_PORT
    if not settings.BOUNCES_TLS:
        return imaplib.IMAP4(host, port, timeout=TIMEOUT_SECONDS)
    return imaplib.IMAP4_SSL(host, port, timeout=TIMEOUT_SECONDS, ssl_context=imap_ssl_context())


def imap_ssl_context() -> ssl.SSLContext:
    """Whom the machine trusts, or only those in the file of the settings."""
    try:
        return ssl.create_default_context(cafile=settings.BOUNCES_CA or None)
    except OSError as error:
        raise OSError(
            f"BOUNCES_CA {settings.BOUNCES_CA} is no file of certificates that can be read"
        ) from error


def unseen_uids(imap: imaplib.IMAP4) -> list[str]:
    """Unique numbers, oldest first (UIDs: plain numbers shift when somebody else deletes a mail).

    One at which the server hung up comes last, so that it does not keep the others from being read.
    """
    found = expect_ok(imap.uid("SEARCH", "UNSEEN"))
    last = cache.get(BROKEN_UID_KEY)
    return sorted((found[0] or b"").decode().split(), key=lambda uid: (uid == last, int(uid)))


def fetch_content(imap: imaplib.IMAP4, uid: str) -> bytes | None:
    """The first megabyte, without marking it: that comes after it was taken."""
    try:
        parts = expect_ok(imap.uid("FETCH", uid, f"(BODY.PEEK[]<0.{MAX_MAIL_BYTES}>)"))
    except (OSError, imaplib.IMAP4.abort):
        cache.set(BROKEN_UID_KEY, uid, timeout=None)
        raise
    return next((bytes(part[1]) for part in parts if isinstance(part, tuple)), None)


def expect_ok(answer: tuple[str, list[Any]]) -> list[Any]:
    if answer[0] != "OK":
        raise imaplib.IMAP4.error(b" ".join(part for part in answer[1] if isinstance(part, bytes)))
    return answer[1]


def log_out_imap(imap: imaplib.IMAP4) -> None:
    try:
        imap.logout()
    except (OSError, imaplib.IMAP4.error):
        with contextlib.suppress(OSError):  # the other side hung up before us
            imap.shutdown()


def mailbox_error_text(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"its certificate cannot be trusted ({error.verify_message}), so no password was sent."
            f" {CERTIFICATE_ADVICE}"
        )
    if isinstance(error, imaplib.IMAP4.abort):
        return f"it hung up in the middle; what was not read yet is read next time ({error})"
    if isinstance(error, OSError):
        return error.strerror or str(error) or type(error).__name__
    words = error.args[0] if error.args else ""
    return words.decode(errors="replace") if isinstance(words, bytes) else str(error)
