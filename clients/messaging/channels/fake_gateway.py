"""A text message gateway that sends nothing:
it takes messages over HTTP, is rude by chance, and keeps the true count.

It needs no Django. `POST /messages` takes one (JSON: to, from, text, reference), `GET
/messages/REFERENCE` says what became of it, `GET /` lists what it has, and `POST /answer` (from,
text) plays a client who writes back.
"""

import base64
import contextlib
import hashlib
import hmac
import json
import os
import random
import threading
import time
import urllib.request
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

MAX_REQUEST_BYTES = 65_536
REPORT_SECONDS = 10


@dataclass(frozen=True)
class FaultShares:
    """Shares of messages, 0 to 1, in the order in which the die is read;
    what is left is taken properly."""

    refuse: float = 0.0  # for good: 422 bad_number
    busy: float = 0.0  # not now: 503
    opted_out: float = 0.0  # 422 opted_out
    lose: float = 0.0  # hang up without taking it
    forget: float = 0.0  # take it and hang up without a word
    stall: float = 0.0  # take it and answer after `stall_seconds`
    duplicate: float = 0.0  # take it properly and report each state twice, the last one first
    stall_seconds: float = 60.0
    latest_seconds: float = 0.0  # the slowest of its ordinary answers

    def pick(self, die: float) -> str:
        for name in ("refuse", "busy", "opted_out", "lose", "forget", "stall", "duplicate"):
            die -= getattr(self, name)
            if die < 0:
                return name
        return "take"


@dataclass
class FakeGateway:
    """What it has taken, whom it tells, and how it behaves."""

    manners: FaultShares = field(default_factory=FaultShares)
    log: Path | None = None  # one line a taken message, written before anybody is told
    hooks: str = ""  # address of our hooks, without /status
    hook_key: str = ""  # signs what it posts: HMAC-SHA256 of the body, in X-Signature
    seed: int = 1
    taken: list[dict[str, str]] = field(default_factory=list)
    request_headers: list[dict[str, str]] = field(
        default_factory=list
    )  # headers of every request for a message
    planned_faults: list[str] = field(
        default_factory=list
    )  # manners of the next messages, before chance decides
    states: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)  # noqa: S311 - a fair die, no secret
        self.lock = threading.Lock()

    def next_fault(self) -> str:
        with self.lock:
            return (
                self.planned_faults.pop(0)
                if self.planned_faults
                else self.manners.pick(self.chance.random())
            )

    def take(self, message: dict[str, str]) -> str:
        """Its own number for the message."""
        with self.lock:
            self.taken.append(message)
            self.states[message["reference"]] = "delivered"
            if self.log:
                with self.log.open("a") as log:
                    log.write(f"{message['reference']} {message['to']}\n")
                    log.flush()
                    os.fsync(log.fileno())
            return f"fake-{len(self.taken)}"

    def post_reports(self, message: dict[str, str], number: str, *, twice: bool) -> None:
        states = ["delivered", "sent", "delivered", "sent"] if twice else ["sent", "delivered"]
        for state in states:
            body = {
                "event_id": f"{number}-{state}",
                "reference": message["reference"],
                "id": number,
                "status": state,
            }
            self.post("status", body)

    def send_answer(self, sender: str, text: str) -> int:
        """A client writes back; the status of our hook's answer."""
        number = f"answer-{time.monotonic_ns()}"
        return self.post("inbound", {"event_id": number, "from": sender, "text": text})

    def post(self, hook: str, body: dict[str, str]) -> int:
        content = json.dumps(body).encode()
        signature = base64.b64encode(
            hmac.digest(self.hook_key.encode(), content, hashlib.sha256)
        ).decode()
        headers = {"Content-Type": "application/json", "X-Signature": signature}
        address = f"{self.hooks}/{hook}"
        request = urllib.request.Request(address, content, headers)  # noqa: S310 - it is ours
        try:
            with urllib.request.urlopen(request, timeout=REPORT_SECONDS) as answer:  # noqa: S310
                return int(answer.status)
        except OSError as error:
            return int(getattr(error, "code", 0))


class FakeGatewayHandler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    # head and body of an answer leave together, else each waits for the other side's ACK
    wbufsize = MAX_REQUEST_BYTES
    server: "FakeGatewayServer"

    def do_POST(self) -> None:
        body = self.body()
        if body is None:
            return
        if self.path == "/answer":
            status = self.server.gateway.send_answer(body.get("from", ""), body.get("text", ""))
            self.send_json(200, {"hook": status})
        elif self.path == "/messages":
            self.server.gateway.request_headers.append(
                {name.lower(): value for name, value in self.headers.items()}
            )
            self.respond(self.server.gateway.next_fault(), body)
        else:
            self.send_json(404, {"error": "not_found"})

    def do_GET(self) -> None:
        gateway = self.server.gateway
        if self.path.startswith("/messages/"):
            state = gateway.states.get(self.path.removeprefix("/messages/"), "unknown")
            self.send_json(200 if state != "unknown" else 404, {"status": state})
        else:
            lines = [f"{each['to']}: {each['text']}" for each in gateway.taken]
            self.write(200, "\n\n".join(lines).encode(), "text/plain; charset=utf-8")

    def body(self) -> dict[str, str] | None:
        """The whole of it, or nothing: a request that breaks off in its body is no message (RFC
        9112, 8)."""
        length = min(int(self.headers.get("Content-Length", 0)), MAX_REQUEST_BYTES)
        content = self.rfile.read(length)
        if len(content) < length:
            self.close_connection = True
            return None
        try:
            found = json.loads(content)
        except ValueError:
            found = None
        if not isinstance(found, dict):
            self.send_json(400, {"error": "bad_request"})
            return None
        return {str(name): str(value) for name, value in found.items()}

    def respond(self, manner: str, message: dict[str, str]) -> None:
        gateway = self.server.gateway
        half = gateway.chance.uniform(0, gateway.manners.latest_seconds) / 2
        time.sleep(half)
        refusals = {
            "refuse": (422, "bad_number"),
            "busy": (503, "busy"),
            "opted_out": (422, "opted_out"),
        }
        if manner in refusals:
            status, error = refusals[manner]
            self.send_json(status, {"error": error})
        elif manner == "lose":
            self.hang_up()
        else:
            self.take(manner, message, half)

    def take(self, manner: str, message: dict[str, str], pause: float) -> None:
        gateway = self.server.gateway
        number = gateway.take(message)
        time.sleep(gateway.manners.stall_seconds if manner == "stall" else pause)
        if manner == "forget":
            self.hang_up()
        else:
            self.send_json(201, {"id": number, "status": "accepted"})
        if gateway.hooks:
            gateway.post_reports(message, number, twice=manner == "duplicate")

    def hang_up(self) -> None:
        self.close_connection = True
        with contextlib.suppress(OSError):
            self.connection.shutdown(2)

    def send_json(self, status: int, content: dict[str, Any]) -> None:
        self.write(status, json.dumps(content).encode(), "application/json")

    def write(self, status: int, content: bytes, media_type: str) -> None:
        with contextlib.suppress(OSError):  # nobody listens any more
            self.send_response(status)
            self.send_header("Content-Type", media_type)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)
            self.wfile.flush()

    def log_message(self, format: str, *args: Any) -> None:
        """Silence: the log is of messages, not of requests."""


class FakeGatewayServer(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False  # a stalled answer must not hold up the end

    def __init__(self, port: int, gateway: FakeGateway) -> None:
        self.gateway = gateway
        super().__init__(("127.0.0.1", port), FakeGatewayHandler)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A sender that was killed in the middle of a request is no news."""
