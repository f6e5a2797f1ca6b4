"""The mail server of the ordeal: late, forgetful and rude by chance, and the only one that knows
what it really took.

Run as `python -m tests.ordeal.faulty_mail_server PORT LOG SEED LATEST_SECONDS [ADDRESS]`. What is
taken is logged before anybody is told: Message-ID, recipient, when its last byte was here (Unix
time) and from which address it came.
"""

import asyncio
import os
import random
import sys
import threading
import time
from email.parser import BytesHeaderParser
from pathlib import Path

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

# Share of messages: taken and then hung up; hung up and not taken; refused for now; refused for
# good.
DROPS_TAKEN = 0.01
DROPS_UNTAKEN = 0.01
REFUSED_FOR_NOW = 0.02
REFUSED_FOR_GOOD = 0.01


class FaultyMailServer:
    def __init__(self, log: Path, seed: int, latest_seconds: float) -> None:
        self.latest_seconds = latest_seconds
        self.log = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        self.chance = random.Random(seed)

    def record_taken(self, envelope: Envelope, at: float, sender: str) -> None:
        content = envelope.content if isinstance(envelope.content, bytes) else b""
        message_id = BytesHeaderParser().parsebytes(content)["Message-ID"]
        os.write(self.log, f"{message_id} {envelope.rcpt_tos[0]} {at:.3f} {sender}\n".encode())

    async def handle_RCPT(  # noqa: N802 aiosmtpd's name
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        roll = self.chance.random()
        if roll < REFUSED_FOR_NOW:
            return "451 4.3.0 not just now"
        if roll < REFUSED_FOR_NOW + REFUSED_FOR_GOOD:
            return "550 5.1.1 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 OK"

    async def handle_DATA(  # noqa: N802 - aiosmtpd's name
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        at = time.time()
        roll = self.chance.random()
        await asyncio.sleep(self.chance.uniform(0, self.latest_seconds) / 2)
        if roll >= DROPS_UNTAKEN:
            self.record_taken(envelope, at, session.peer[0] if session.peer else "")
        await asyncio.sleep(self.chance.uniform(0, self.latest_seconds) / 2)
        if roll < DROPS_UNTAKEN + DROPS_TAKEN:
            abort_connection(server.transport)
        return "250 2.0.0 taken"


def abort_connection(transport: asyncio.BaseTransport | None) -> None:
    if isinstance(transport, asyncio.WriteTransport):
        transport.abort()


def main() -> None:
    port = int(sys.argv[1])
    log = Path(sys.argv[2])
    seed = int(sys.argv[3])
    address = sys.argv[5] if len(sys.argv) > 5 else "127.0.0.1"
    server = FaultyMailServer(log, seed, float(sys.argv[4]))
    Controller(server, hostname=address, port=port).start()
    threading.Event().wait()


if __name__ == "__main__":
    main()
