"""The demo's mailbox for everybody: a real SMTP server here that keeps what it gets and passes
nothing on."""

import os
import re
import time
from pathlib import Path

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from django.conf import settings


def mail_dir() -> Path:
    return settings.VAR_DIR / "demo" / "mail"


def caught_mail() -> list[Path]:
    """The messages kept so far, newest first."""
    return sorted(mail_dir().glob("*.eml"), reverse=True)


def new_mail_catcher(port: int) -> Controller:
    """A server for 127.0.0.1 in a thread of its own; the caller starts and stops it."""
    mail_dir().mkdir(parents=True, exist_ok=True)
    mail_dir().chmod(0o700)
    return Controller(
        MailKeeper(mail_dir()), hostname="127.0.0.1", port=port, ident="Restorer mail catcher"
    )


class MailKeeper:
    """Keeps each message as one .eml file, headed as a last server heads it (RFC 5321, 4.4)."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory

    async def handle_DATA(  # noqa: N802 - aiosmtpd's name
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        head = f"Return-Path: <{envelope.mail_from}>\r\n"
        head += "".join(f"Delivered-To: {address}\r\n" for address in envelope.rcpt_tos)
        body = envelope.content or b""
        write_durably(
            self.directory / eml_file_name(envelope),
            head.encode() + (body if isinstance(body, bytes) else body.encode()),
        )
        return "250 2.0.0 Kept on this machine, sent to nobody"


def eml_file_name(envelope: Envelope) -> str:
    """Names sort by time of arrival; the first address makes them readable."""
    address = re.sub(r"[^A-Za-z0-9.@+-]", "_", envelope.rcpt_tos[0])[:80]
    return f"{time.time_ns()}-{address}.eml"


def write_durably(path: Path, content: bytes) -> None:
    """Whole and on the disk before the sender is told so."""
    unfinished = path.with_suffix(".part")
    with unfinished.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    unfinished.rename(path)
