"""The web process: one loop takes in many connections, threads answer whole requests.

Half a request holds no thread, whoever keeps it back. What a connection may cost is limited: time
for the head and the whole of a request, its size, and connections, of one address and in all. When
there are too many, the one that has kept us waiting longest gives way. Pages of clients and the
health page have threads of their own, and so have programs, which hold up only each other; what no
thread can soon answer is told to come back.
"""

import gc
import logging
import resource
import signal
import socket
import sys
import threading
import time
from typing import Any

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher
from waitress.utilities import Error

HEAD_SECONDS = 15  # for the first line and the headers
REQUEST_SECONDS = 600  # for all of it: photographs over a bad line
IDLE_SECONDS = 75  # between two requests of one connection
STOP_SECONDS = 20  # what is being answered may take when the process is asked to end
CLEANUP_SECONDS = 2
MAX_HEAD_BYTES = 32 * 1024
MAX_REQUEST_BYTES = 256 * 1024 * 1024
MAX_WAITING_ANSWER_BYTES = 1024**3  # on disk, for readers slower than we write
MAX_CONNECTIONS = 1_000
MAX_CONNECTIONS_OF_ADDRESS = 200
MAX_OPEN_FILES = 8_192
BOOK_THREADS = 4
PUBLIC_THREADS = 2
PROGRAM_THREADS = 2
MAX_WAITING_READS = 40  # some four seconds of work
MAX_WAITING_WRITES = 200  # a form that was filled in is worth a wait
# what people outside the business and machines open (tests/restorer/test_web_server.py compares)
PUBLIC_PATHS = (
    "/health/",
    "/metrics",
    "/static/",
    "/o/",
    "/u/",
    "/p/",
    "/s/",
    "/privacy/",
    "/logo/",
    "/hooks/",
    "/calendar/",
    "/phone/",
    "/worker.js",
)
PROGRAM_PATH = "/api/"


class BusyError(Error):  # type: ignore[misc]  # waitress has no types
    """503: too much is waiting to be answered."""

    code = 503
    reason = "Service Unavailable"

    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        status, headers, body = super().to_response(ident)
        return status, [*headers, ("Retry-After", "5")], body


class WholeRequestChannel(HTTPChannel):  # type: ignore[misc]
    """One connection, which knows since when it owes us the rest of a request."""

    def __init__(self, server: "WebServer", *args: Any, **options: Any) -> None:
        self.owes_since = time.time()
        self.is_new = True
        super().__init__(server, *args, **options)
        server.make_room_for(self)

    def received(self, data: bytes) -> bool:
        if self.request is None and not self.is_new:
            self.owes_since = time.time()
        taken = bool(super().received(data))
        if self.requests:
            self.is_new = False
        return taken

    def is_in_hand(self) -> bool:
        """A request is being answered, or its answer is on its way out."""
        return bool(self.requests or self.total_outbufs_len)

    def is_overdue(self, now: float) -> bool:
        if self.is_in_hand():
            return False
        if self.request is None and not self.is_new:
            return bool(now - max(self.owes_since, self.last_activity) > IDLE_SECONDS)
        has_head = self.request is not None and self.request.headers_finished
        return bool(now - self.owes_since > (REQUEST_SECONDS if has_head else HEAD_SECONDS))


class WebServer(TcpWSGIServer):  # type: ignore[misc]
    """Reads requests in one loop; hands whole ones to the threads of their lane."""

    channel_class = WholeRequestChannel

    def __init__(self, application: Any, listener: socket.socket, *, behind_proxy: bool) -> None:
        self.behind_proxy = behind_proxy
        self.book_lane = lane_of_threads(BOOK_THREADS)
        self.public_lane = lane_of_threads(PUBLIC_THREADS)
        self.program_lane = lane_of_threads(PROGRAM_THREADS)
        self.refusing_lane = lane_of_threads(1)
        family, kind = listener.family, listener.type
        super().__init__(
            application,
            dispatcher=self.book_lane,
            adj=Adjustments(**limits(behind_proxy=behind_proxy)),
            sockinfo=(family, kind, None, listener.getsockname()),
            _sock=listener,
            bind_socket=False,
        )

    def make_room_for(self, newcomer: WholeRequestChannel) -> None:
        """Close the connection that has owed us a request for longest, of the same address or of
        all, if there are too many; the newcomer if all others are being answered."""
        everybody = list(self.active_channels.values())
        neighbours = [each for each in everybody if each.addr[0] == newcomer.addr[0]]
        if len(everybody) > MAX_CONNECTIONS:
            close_most_overdue(everybody, newcomer)
        elif len(neighbours) > MAX_CONNECTIONS_OF_ADDRESS and not self.behind_proxy:
            close_most_overdue(neighbours, newcomer)

    def maintenance(self, now: float) -> None:
        super().maintenance(now)
        for channel in self.active_channels.values():
            if channel.is_overdue(now):
                channel.will_close = True

    def add_task(self, channel: WholeRequestChannel) -> None:
        request = channel.requests[0]
        lane = self.lane_for(getattr(request, "path", ""))
        limit = MAX_WAITING_READS if request.command in {"GET", "HEAD"} else MAX_WAITING_WRITES
        if not request.error and len(lane.queue) >= limit:
            request.error = BusyError("Too many people are asking. Try again in a few seconds.")
        (self.refusing_lane if request.error else lane).add_task(channel)

    def lane_for(self, path: str) -> ThreadedTaskDispatcher:
        if path.startswith(PROGRAM_PATH):
            return self.program_lane
        return self.public_lane if path.startswith(PUBLIC_PATHS) else self.book_lane

    def run_until(self, stopping: threading.Event) -> None:
        """Serve until asked to end, then finish what is being answered."""
        while not stopping.is_set():
            self.turn(seconds=1)
        self.accepting = False
        until = time.monotonic() + STOP_SECONDS
        while self.has_work_in_hand() and time.monotonic() < until:
            self.turn(seconds=0.1)
        for lane in (self.book_lane, self.public_lane, self.program_lane, self.refusing_lane):
            lane.shutdown(timeout=1)
        for channel in list(self.active_channels.values()):
            channel.handle_close()

    def turn(self, *, seconds: float) -> None:
        self.asyncore.loop(timeout=seconds, map=self._map, use_poll=True, count=1)

    def has_work_in_hand(self) -> bool:
        return any(channel.is_in_hand() for channel in self.active_channels.values())


def lane_of_threads(count: int) -> ThreadedTaskDispatcher:
    lane = ThreadedTaskDispatcher()
    lane.set_thread_count(count)
    return lane


def close_most_overdue(crowd: list[WholeRequestChannel], newcomer: WholeRequestChannel) -> None:
    owing = [each for each in crowd if not each.is_in_hand() and each is not newcomer]
    min(owing, key=lambda each: each.owes_since, default=newcomer).will_close = True


def limits(*, behind_proxy: bool) -> dict[str, Any]:
    """How the kept server is set; what it cannot do by itself is done above."""
    options: dict[str, Any] = {
        "ident": None,
        "cleanup_interval": CLEANUP_SECONDS,
        "connection_limit": MAX_CONNECTIONS + 100,  # never reached: room is made before
        "max_request_header_size": MAX_HEAD_BYTES,
        "max_request_body_size": MAX_REQUEST_BYTES,
        "outbuf_high_watermark": MAX_WAITING_ANSWER_BYTES,
        "log_socket_errors": False,
        # whom a proxy hands on that nobody told us of, the pages for machines must see
        "clear_untrusted_proxy_headers": behind_proxy,
    }
    if behind_proxy:
        options |= {
            "trusted_proxy": "*",
            "trusted_proxy_count": 1,
            "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        }
    return options


def serve_socket(listener: socket.socket) -> None:
    """Answer requests to this listening socket until SIGTERM or SIGINT."""
    from django.conf import settings

    from restorer.wsgi import application

    raise_file_limit()
    set_collecting()
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    server = WebServer(application, listener, behind_proxy=settings.BEHIND_PROXY)
    stopping = threading.Event()

    def ask_to_stop(number: int, frame: Any) -> None:
        stopping.set()
        server.pull_trigger()

    signal.signal(signal.SIGTERM, ask_to_stop)
    signal.signal(signal.SIGINT, ask_to_stop)
    server.run_until(stopping)


def set_collecting() -> None:
    """What is loaded stays for good, so Python's search for circles of objects need not go over it
    again, a quarter of a second each time; what pages leave behind it looks through less often."""
    from django.urls import get_resolver

    get_resolver().url_patterns  # noqa: B018 - loads all pages
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 20)


def raise_file_limit() -> None:
    """Each connection is a file, and so is each large body while it comes in."""
    _soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = MAX_OPEN_FILES if hard == resource.RLIM_INFINITY else min(hard, MAX_OPEN_FILES)
    resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


if __name__ == "__main__":
    serve_socket(socket.socket(fileno=int(sys.argv[1])))
