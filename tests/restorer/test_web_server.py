"""The web process over real sockets: nobody who sends half a request, slowly or too often, keeps
others waiting. Addresses of the loopback network (127.0.0.0/8) stand for several visitors."""

import contextlib
import http.client
import socket
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from restorer.local import processes, web_server

RUDE, POLITE = "127.0.0.2", "127.0.0.3"
HALF_HEAD = b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: "
HALF_BODY = b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\nhalf"


class Book:
    """A small WSGI application in the place of ours, which can be held up."""

    def __init__(self) -> None:
        self.go_on = threading.Event()
        self.go_on.set()
        self.begun = threading.Semaphore(0)
        self.peers: list[str] = []
        self.handed_on: list[str | None] = []

    def __call__(self, environ: dict[str, Any], start_response: Any) -> list[bytes]:
        self.begun.release()
        self.peers.append(environ["REMOTE_ADDR"])
        self.handed_on.append(environ.get("HTTP_X_FORWARDED_FOR"))
        if not environ["PATH_INFO"].startswith(web_server.PUBLIC_PATHS):
            self.go_on.wait(20)
        body = environ["wsgi.input"].read()
        start_response("200 OK", [("Content-Type", "text/plain")])
        return [f"{environ['wsgi.url_scheme']} {len(body)}".encode()]


class Served:
    """A web server in a thread."""

    def __init__(self, *, behind_proxy: bool = False) -> None:
        self.book = Book()
        listener = processes.listen_on("127.0.0.1", 0)
        self.port = listener.getsockname()[1]
        self.server = web_server.WebServer(self.book, listener, behind_proxy=behind_proxy)
        self.stopping = threading.Event()
        self.thread = threading.Thread(target=self.server.run_until, args=(self.stopping,))
        self.thread.start()

    def stop(self) -> None:
        self.stopping.set()
        self.server.pull_trigger()
        self.thread.join(10)
        self.server.close()

    def connect(self, source: str = POLITE) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), 10, source_address=(source, 0))

    def ask(self, path: str = "/", *, source: str = POLITE, **options: Any) -> "Answer":
        connection = http.client.HTTPConnection(
            "127.0.0.1", self.port, timeout=10, source_address=(source, 0)
        )
        with contextlib.closing(connection):
            connection.request(options.pop("method", "GET"), path, **options)
            answer = connection.getresponse()
            return Answer(answer.status, dict(answer.headers), answer.read())


class Answer(NamedTuple):
    status: int
    headers: dict[str, str]
    body: bytes


@pytest.fixture
def serve() -> Iterator[Callable[..., Served]]:
    with contextlib.ExitStack() as stack:

        def start(**options: Any) -> Served:
            served = Served(**options)
            stack.callback(served.stop)
            stack.callback(served.book.go_on.set)
            return served

        yield start


def is_closed(connection: socket.socket, *, within: float = 5) -> bool:
    connection.settimeout(within)
    try:
        return connection.recv(1) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False


def test_two_hundred_half_heads_and_fifty_half_bodies_hold_up_nobody(
    serve: Callable[..., Served],
) -> None:
    served = serve()
    with contextlib.ExitStack() as stack:
        for n in range(250):
            rude = stack.enter_context(served.connect(f"127.0.1.{n % 5 + 1}"))
            rude.sendall(HALF_BODY if n % 5 == 0 else HALF_HEAD)

        assert [served.ask().status for _ in range(20)] == [200] * 20
        assert len(served.server.active_channels) >= 250


def test_half_a_head_is_not_waited_for_long(
    serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_server, "HEAD_SECONDS", 0.3)
    monkeypatch.setattr(web_server, "CLEANUP_SECONDS", 0.1)
    served = serve()
    with served.connect() as silent, served.connect() as half, served.connect() as uploading:
        half.sendall(HALF_HEAD)
        uploading.sendall(HALF_BODY)

        assert is_closed(silent)
        assert is_closed(half)
        assert not is_closed(uploading, within=0.5)  # a body has more time


def test_a_head_that_drips_is_not_waited_for_either(
    serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_server, "HEAD_SECONDS", 0.5)
    monkeypatch.setattr(web_server, "CLEANUP_SECONDS", 0.1)
    served = serve()
    with served.connect() as dripping:
        dripping.sendall(HALF_HEAD)
        with contextlib.suppress(ConnectionError):
            for _ in range(40):
                dripping.sendall(b"a")
                time.sleep(0.05)
        assert is_closed(dripping)


def test_of_too_many_connections_of_one_address_the_one_that_owes_longest_goes(
    serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_server, "MAX_CONNECTIONS_OF_ADDRESS", 3)
    served = serve()
    with contextlib.ExitStack() as stack:
        rude = [stack.enter_context(served.connect(RUDE)) for _ in range(3)]
        for connection in rude:
            connection.sendall(HALF_HEAD)

        assert served.ask(source=RUDE).status == 200
        assert is_closed(rude[0])
        assert not is_closed(rude[2], within=0.2)


def test_behind_a_proxy_all_connections_are_the_proxys_and_not_counted(
    serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_server, "MAX_CONNECTIONS_OF_ADDRESS", 3)
    served = serve(behind_proxy=True)
    with contextlib.ExitStack() as stack:
        waiting = [stack.enter_context(served.connect()) for _ in range(6)]
        assert served.ask().status == 200
        assert not is_closed(waiting[0], within=0.2)


def test_too_many_connections_in_all_make_room_for_the_newest(
    serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_server, "MAX_CONNECTIONS", 4)
    served = serve()
    with contextlib.ExitStack() as stack:
        rude = [stack.enter_context(served.connect(f"127.0.2.{n + 1}")) for n in range(4)]
        assert served.ask().status == 200
        assert is_closed(rude[0])


def test_what_cannot_be_answered_soon_is_told_to_come_back_and_a_form_is_waited_for(
    serve: Callable[..., Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_server, "MAX_WAITING_READS", 2)
    served = serve()
    served.book.go_on.clear()
    with contextlib.ExitStack() as stack:
        for _ in range(web_server.BOOK_THREADS):
            stack.enter_context(served.connect()).sendall(
                b"GET /clients/ HTTP/1.1\r\nHost: localhost\r\n\r\n"
            )
            assert served.book.begun.acquire(timeout=10)
        for _ in range(2):
            stack.enter_context(served.connect()).sendall(
                b"GET /clients/ HTTP/1.1\r\nHost: localhost\r\n\r\n"
            )
        until = time.monotonic() + 10
        while len(served.server.book_lane.queue) < 2 and time.monotonic() < until:
            time.sleep(0.01)

        refused = served.ask("/clients/")
        assert (refused.status, refused.headers["Retry-After"]) == (503, "5")
        assert [served.ask(path).status for path in ("/health/", "/o/abc/")] == [200, 200]

        form = stack.enter_context(served.connect())
        form.sendall(b"POST /jobs/ HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2\r\n\r\nhi")
        time.sleep(0.1)
        served.book.go_on.set()
        assert form.recv(100).startswith(b"HTTP/1.1 200")


def test_programs_hold_up_nobody_but_programs(serve: Callable[..., Served]) -> None:
    served = serve()
    served.book.go_on.clear()
    with contextlib.ExitStack() as stack:
        for _ in range(web_server.PROGRAM_THREADS):
            stack.enter_context(served.connect()).sendall(
                b"GET /api/v1/clients HTTP/1.1\r\nHost: localhost\r\n\r\n"
            )
            assert served.book.begun.acquire(timeout=10)

        assert served.ask("/o/abc/").status == 200
        stack.enter_context(served.connect()).sendall(
            b"GET /clients/ HTTP/1.1\r\nHost: localhost\r\n\r\n"
        )
        assert served.book.begun.acquire(timeout=10)


def test_what_is_being_answered_is_finished_before_the_process_ends(
    serve: Callable[..., Served],
) -> None:
    served = serve()
    served.book.go_on.clear()
    with served.connect() as connection, served.connect() as idle:
        connection.sendall(b"GET /jobs/ HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert served.book.begun.acquire(timeout=10)
        served.stopping.set()
        served.server.pull_trigger()
        time.sleep(0.2)
        served.book.go_on.set()

        assert connection.recv(100).startswith(b"HTTP/1.1 200")
        served.thread.join(5)  # does not wait for the idle one
        assert not served.thread.is_alive()
        assert idle.fileno() > 0


def test_only_a_proxy_may_say_who_asks(serve: Callable[..., Served]) -> None:
    headers = {"X-Forwarded-For": "192.0.2.1, 198.51.100.7", "X-Forwarded-Proto": "https"}
    alone, proxied = serve(), serve(behind_proxy=True)

    assert alone.ask(headers=headers).body == b"http 0"
    assert alone.book.peers == [POLITE]
    assert proxied.ask(headers=headers).body == b"https 0"
    assert proxied.book.peers == ["198.51.100.7"]
    # whom a proxy hands on that nobody told us of is no visitor from this machine
    assert alone.book.handed_on == [headers["X-Forwarded-For"]]


@pytest.mark.parametrize(
    ("options", "status"),
    [
        ({"headers": {"X-Long": "a" * web_server.MAX_HEAD_BYTES}}, 431),
        ({"method": "POST", "headers": {"Content-Length": str(10**12)}}, 413),
        ({"method": "POST", "headers": {"Content-Length": "-1"}}, 400),
        ({"method": "POST", "body": b"a" * 1_000_000}, 200),
    ],
)
def test_what_is_too_large_is_said_so_at_once(
    serve: Callable[..., Served], options: dict[str, Any], status: int
) -> None:
    served = serve()
    assert served.ask(**options).status == status
    assert served.ask().status == 200


def test_the_public_lane_takes_the_pages_that_are_open_without_signing_in() -> None:
    ours = ("/sign-in/", "/sign-out/", "/first-visit/")  # of people of the business
    found = {path for path, view in walk(get_resolver()) if not is_guarded(view)}
    others = (*ours, web_server.PROGRAM_PATH)
    open_paths = {path for path in found if not path.startswith(others)}

    assert len(open_paths) > 10
    assert {path for path in open_paths if not path.startswith(web_server.PUBLIC_PATHS)} == set()
    for prefix in set(web_server.PUBLIC_PATHS) - {"/static/"}:
        assert any(path.startswith(prefix) for path in open_paths), prefix


def walk(resolver: URLResolver, prefix: str = "/") -> Iterator[tuple[str, Any]]:
    for entry in resolver.url_patterns:
        path = prefix + str(entry.pattern)
        if isinstance(entry, URLPattern):
            yield path, entry.callback
        else:
            yield from walk(entry, path)


def is_guarded(view: Any) -> bool:
    return bool(getattr(view, "login_required", True))
