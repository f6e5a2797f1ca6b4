"""Text messages through an HTTP gateway:
one request a message, one recipient a request, and never a second try.

The head of the request goes ahead; its body leaves only after the outbox's last look. What happens
before that handed nothing over; a lost answer after it means that nobody knows (docs/owner.md,
"The text message gateway").
"""

import socket
from collections.abc import Iterator
from typing import Any

import httpx
from django.conf import settings

from clients.messaging.channels import gateway_protocol as gateway_protocol
from clients.messaging.channels.transport import (
    SendOutcome,
    SendPermit,
    SendResult,
    TransportDownError,
)
from clients.messaging.models import Message, TextGateway
from clients.models import Business
from clients.outward import outward_addresses

CONNECT_SECONDS = 5.0
# answers lost in a row, after which the rest of the queue waits for the next pass
MAX_LOST_ANSWERS = 3
MAX_ANSWER_BYTES = 65_536  # bytes
NO_GATEWAY_IN_USE = (
    "No gateway for text messages is in use. Set one up under Settings, Text message gateway."
)
# an idle connection older than this may be closed at the other end while we write
KEEPALIVE_SECONDS = 2.0


class WithheldError(Exception):
    """The outbox said no: the body stays here."""


class GatewayTransport:
    """Keeps `contract.Line` for text messages."""

    def __init__(self, business: Business) -> None:
        self.business = business
        self.gateway: TextGateway | None = None
        self.http: httpx.Client | None = None
        self.why_down = ""  # for the rest of this pass
        self.lost_answers = 0
        self.lease_seconds: float = CONNECT_SECONDS * 2 + settings.GATEWAY_TIMEOUT * 3 + 60

    @property
    def is_open(self) -> bool:
        return self.http is not None

    def connect(self) -> None:
        """Look whether somebody is there; nothing is claimed while nobody is."""
        self.gateway = TextGateway.current()
        if self.gateway is None or self.why_down:
            raise TransportDownError(self.why_down or NO_GATEWAY_IN_USE)
        target = httpx.URL(self.gateway.url)
        try:
            port = target.port or (443 if target.scheme == "https" else 80)
            outward_addresses(target.host, port, may_be_own=True)
            socket.create_connection((target.host, port), timeout=CONNECT_SECONDS).close()
        except OSError as error:
            raise TransportDownError(http_error_text(error)) from error
        self.http = gateway_http_client(self.gateway)

    def send(self, message: Message, permit: SendPermit) -> SendOutcome:
        assert self.gateway is not None  # noqa: S101 - connect came first
        values = {
            "to": message.address.partition(";")[0],
            "from": self.gateway.sender,
            "text": message.text,
            "reference": gateway_protocol.message_reference(message),
        }
        outcome = self.post(values, permit)
        self.count_lost_answers(outcome)
        return outcome

    def post(self, values: dict[str, str], permit: SendPermit) -> SendOutcome:
        """One request, and an account of how far it got."""
        assert self.gateway is not None  # noqa: S101 - connect came first
        assert self.http is not None  # noqa: S101 - as above
        content, media_type = gateway_protocol.request_body(self.gateway, values)
        body = GuardedBody(content, permit)
        headers = {"Content-Type": media_type, "Content-Length": str(len(content))}
        try:
            with self.http.stream(
                "POST", self.gateway.url, content=iter(body), headers=headers
            ) as answer:
                return self.interpret_answer(answer, body)
        except WithheldError:
            self.hang_up()
            return SendOutcome(SendResult.WITHHELD)
        except (httpx.HTTPError, httpx.InvalidURL, OSError) as error:
            self.hang_up()
            return SendOutcome(
                SendResult.UNKNOWN if body.has_left else SendResult.NOT_NOW, http_error_text(error)
            )
        except BaseException:
            self.hang_up()
            raise

    def interpret_answer(self, answer: httpx.Response, body: "GuardedBody") -> SendOutcome:
        """The status line decides; a text that breaks off behind it changes nothing."""
        assert self.gateway is not None  # noqa: S101 - connect came first
        content = read_limited(answer)
        outcome = gateway_protocol.answer_outcome(
            self.gateway, answer.status_code, content, answer.headers.get("Content-Type", "")
        )
        if (
            answer.status_code
            in gateway_protocol.ACCOUNT_STATUSES | gateway_protocol.REDIRECT_STATUSES
            and outcome.result is SendResult.NOT_NOW
        ):
            self.give_up(outcome.reply)
        if (
            outcome.result is SendResult.ACCEPTED and not body.has_left
        ):  # said before it had anything: not to be believed
            return SendOutcome(SendResult.UNKNOWN, outcome.reply)
        return outcome

    def count_lost_answers(self, outcome: SendOutcome) -> None:
        """A gateway that loses one answer after the other must not turn the whole queue into
        guesses."""
        self.lost_answers = self.lost_answers + 1 if outcome.result is SendResult.UNKNOWN else 0
        if self.lost_answers >= MAX_LOST_ANSWERS:
            self.give_up(
                f"{self.lost_answers} answers in a row were lost. The last: {outcome.reply}"
            )

    def give_up(self, why: str) -> None:
        self.why_down = why
        self.hang_up()

    def hang_up(self) -> None:
        http = self.http
        self.http = None
        if http is not None:
            http.close()

    def close(self) -> None:
        self.hang_up()


class GuardedBody:
    """The content, which asks the outbox right before it leaves."""

    def __init__(self, content: bytes, permit: SendPermit) -> None:
        self.content = content
        self.look = permit
        self.has_left = False

    def __iter__(self) -> Iterator[bytes]:
        if not self.look.is_granted():
            raise WithheldError
        self.has_left = True
        yield self.content


def gateway_http_client(gateway: TextGateway, *, read_seconds: float | None = None) -> httpx.Client:
    """A time-out for each phase, certificates checked, no redirects, no repeats, no proxy from the
    environment."""
    read_seconds = settings.GATEWAY_TIMEOUT if read_seconds is None else read_seconds
    return httpx.Client(
        timeout=httpx.Timeout(read_seconds, connect=CONNECT_SECONDS),
        follow_redirects=False,
        trust_env=False,
        limits=httpx.Limits(max_connections=1, keepalive_expiry=KEEPALIVE_SECONDS),
        transport=None,
        **auth_options(gateway),
    )


def auth_options(gateway: TextGateway) -> dict[str, Any]:
    """Who we are, in the way that the gateway wants it."""
    plain = {"Accept": "application/json", "Accept-Encoding": "identity", "User-Agent": "deck-care"}
    if gateway.auth == TextGateway.Auth.BASIC:
        return {"headers": plain, "auth": httpx.BasicAuth(gateway.auth_name, gateway.auth_secret)}
    if gateway.auth == TextGateway.Auth.BEARER:
        return {"headers": plain | {"Authorization": f"Bearer {gateway.auth_secret}"}}
    if gateway.auth == TextGateway.Auth.HEADER:
        return {"headers": plain | {gateway.auth_name: gateway.auth_secret}}
    return {"headers": plain}


def read_limited(answer: httpx.Response) -> bytes:
    """As much of the answer as is worth reading, unpacked by nobody."""
    content = b""
    try:
        for piece in answer.iter_raw():
            content += piece
            if len(content) > MAX_ANSWER_BYTES:
                break
    except (httpx.HTTPError, OSError):
        return content
    return content[:MAX_ANSWER_BYTES]


def look_up_state(gateway: TextGateway, message: Message) -> str:
    """What the gateway says became of a message: delivered, failed, accepted, none;
    empty if it does not say."""
    address = gateway_protocol.look_up_address(gateway, message)
    if not address:
        return ""
    try:
        target = httpx.URL(address)
        outward_addresses(target.host, target.port or 443, may_be_own=True)
        with gateway_http_client(gateway) as http, http.stream("GET", address) as answer:
            content = gateway_protocol.parse_body(
                read_limited(answer), answer.headers.get("Content-Type", "")
            )
            status = answer.status_code
    except (httpx.HTTPError, httpx.InvalidURL, OSError):
        return ""
    return (
        gateway_protocol.reported_state(gateway, content) if status < 300 or status == 404 else ""
    )


def http_error_text(error: Exception) -> str:
    return (str(error) or type(error).__name__)[:500]
