"""What others wait for while 200 visitors send half a request and 50 a body drop by drop."""

import contextlib
import socket
import threading
from collections.abc import Iterator
from itertools import cycle, islice

from tests.bench.timing import percentile
from tests.bench.visitors import SignedInVisitor, web_site

HALF_HEADS, SLOW_BODIES = 200, 50
ADDRESSES = ("/clients/", "/diary/", "/")
HEAD = b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: "
BODY = b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 10000000\r\n\r\n"


def measure_rude_visitors(times: int = 90) -> dict[str, float]:
    """At most twice the 95th percentile of a quiet site is wanted."""
    with web_site() as port:
        visitor = SignedInVisitor(port)
        visitor.seconds_of([*ADDRESSES * 4])  # both processes are warm
        turns = list(islice(cycle(ADDRESSES), times))
        quiet = visitor.seconds_of(turns)
        with rude_visitors(port):
            beside = visitor.seconds_of(turns)
    return {
        "quiet_p95_ms": 1000 * percentile(quiet, 0.95),
        "beside_p95_ms": 1000 * percentile(beside, 0.95),
        "ratio": percentile(beside, 0.95) / percentile(quiet, 0.95),
    }


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
