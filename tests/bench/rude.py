"""What others wait for while 200 visitors send half a request and 50 a body drop by drop."""

import contextlib
import http.client
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from functools import partial

from django.test import Client as Browser

from restorer.local import processes
from tests.bench.pages import bench_owner
from tests.bench.timing import elapsed_seconds, percentile

HALF_HEADS, SLOW_BODIES = 200, 50
ADDRESSES = ("/clients/", "/diary/", "/")
HEAD = b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: "
BODY = b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 10000000\r\n\r\n"


def measure_rude_visitors(times: int = 90) -> dict[str, float]:
    """At most twice the 95th percentile of a quiet site is wanted."""
    with web_site() as port:
        visitor = SignedInVisitor(port)
        visitor.page_seconds(len(ADDRESSES) * 4)  # both processes are warm
        quiet = visitor.page_seconds(times)
        with rude_visitors(port):
            beside = visitor.page_seconds(times)
    return {
        "quiet_p95_ms": 1000 * percentile(quiet, 0.95),
        "beside_p95_ms": 1000 * percentile(beside, 0.95),
        "ratio": percentile(beside, 0.95) / percentile(quiet, 0.95),
    }


class SignedInVisitor:
    def __init__(self, port: int) -> None:
        browser = Browser()
        browser.force_login(bench_owner())
        self.cookie = f"sessionid={browser.cookies['sessionid'].value}"
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)

    def page_seconds(self, times: int) -> list[float]:
        turns = (ADDRESSES[turn % len(ADDRESSES)] for turn in range(times))
        return [elapsed_seconds(partial(self.open, address)) for address in turns]

    def open(self, address: str) -> None:
        self.connection.request("GET", address, headers={"Cookie": self.cookie})
        answer = self.connection.getresponse()
        answer.read()
        assert answer.status == 200


@contextlib.contextmanager
def web_site() -> Iterator[int]:
    """The web processes as they are served, on the scratch database."""
    port = processes.free_port(2800)
    command = [sys.executable, processes.MANAGE_PY, "listen", "--port", str(port)]
    with subprocess.Popen(command, env=os.environ, stdout=subprocess.DEVNULL) as site:
        try:
            assert processes.wait_for_answer("127.0.0.1", port)
            yield port
        finally:
            site.terminate()


@contextlib.contextmanager
def rude_visitors(port: int) -> Iterator[None]:
    """Each five of them share an address of the loopback network."""
    enough = threading.Event()
    with contextlib.ExitStack() as stack:
        for visitor in range(HALF_HEADS + SLOW_BODIES):
            source = (f"127.0.1.{1 + visitor // 5}", 0)
            rude = socket.create_connection(("127.0.0.1", port), source_address=source)
            stack.enter_context(rude)
            rude.sendall(HEAD if visitor < HALF_HEADS else BODY)
            if visitor >= HALF_HEADS:
                dripping = threading.Thread(target=drip, args=(rude, enough))
                dripping.start()
                stack.callback(dripping.join)
        stack.callback(enough.set)
        yield


def drip(connection: socket.socket, enough: threading.Event) -> None:
    while not enough.wait(0.2):
        with contextlib.suppress(OSError):
            connection.sendall(b"a" * 1000)
