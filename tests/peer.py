"""A real SMTP server (aiosmtpd) for tests, that can be told to be late, to refuse and to hang
up."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from restorer.local.processes import free_port

DROP = "drop the connection"


class Handler:
    """Takes what comes; `answers` maps a phase (MAIL, RCPT, DATA, DOT) to what is said instead,
    once or for good."""

    def __init__(self) -> None:
        self.taken: list[Envelope] = []
        self.commands: list[str] = []
        self.answers: dict[str, str] = {}
        self.once: dict[str, list[str]] = {}
        self.refused_recipients: dict[str, str] = {}
        self.late_seconds = 0.0

    def says(self, phase: str) -> str | None:
        waiting = self.once.get(phase)
        return waiting.pop(0) if waiting else self.answers.get(phase)

    async def handle_EHLO(  # noqa: N802 aiosmtpd's name
        self,
        server: SMTP,
        session: Session,
        envelope: Envelope,
        hostname: str,
        responses: list[str],
    ) -> list[str]:
        session.host_name = hostname
        self.commands.append("EHLO")
        return responses

    async def handle_MAIL(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if (answer := self.says("MAIL")) == DROP:
            server.transport.abort()
        if answer:
            return answer
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return "250 2.1.0 OK"

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if (answer := self.refused_recipients.get(address) or self.says("RCPT")) == DROP:
            server.transport.abort()
        if answer:
            return answer
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 OK"

    async def handle_DATA(  # noqa: N802 - aiosmtpd's name
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        answer = self.says("DOT")
        if not answer or answer == DROP or answer.startswith("2"):
            self.taken.append(envelope)
        await asyncio.sleep(self.late_seconds)
        if answer == DROP:
            server.transport.abort()
            return "250 nobody hears this"
        return answer or f"250 2.0.0 taken as {len(self.taken)}"


class Server(SMTP):
    """Answers DATA itself where the handler says so, which aiosmtpd has no hook for."""

    async def smtp_DATA(self, arg: str) -> None:  # noqa: N802
        answer = self.event_handler.says("DATA")
        if answer:
            await self.push(answer)
        else:
            await super().smtp_DATA(arg)


class PeerController(Controller):
    def __init__(self, handler: Handler, *, utf8: bool, **options: Any) -> None:
        self.utf8 = utf8
        super().__init__(handler, **options)

    def factory(self) -> SMTP:
        return Server(self.handler, enable_SMTPUTF8=self.utf8, ident="peer of the tests")


class Peer:
    """The running server: its port, what to answer, and what it has taken."""

    def __init__(self, controller: PeerController) -> None:
        self.controller = controller
        self.handler: Handler = controller.handler

    @property
    def port(self) -> int:
        return self.controller.port

    @property
    def taken(self) -> list[Envelope]:
        return self.handler.taken

    def message(self, place: int = 0) -> EmailMessage:
        """One of those taken, parsed by the standard library."""
        return message_from_bytes(self.taken[place].original_content, policy=default)


@contextmanager
def running_peer(*, utf8: bool = True) -> Iterator[Peer]:
    controller = PeerController(Handler(), utf8=utf8, hostname="127.0.0.1", port=free_port(2700))
    controller.start()
    try:
        yield Peer(controller)
    finally:
        controller.stop()
