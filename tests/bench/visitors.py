"""The web processes as they are served, and people who are signed in there."""

import contextlib
import http.client
import os
import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from http import HTTPStatus

from django.test import Client as Browser

from restorer.local import processes
from tests.bench.pages import bench_owner
from tests.bench.timing import elapsed_seconds


class SignedInVisitor:
    """One connection that is kept; pages come compressed, as browsers ask for them."""

    def __init__(self, port: int) -> None:
        browser = Browser()
        browser.force_login(bench_owner())
        self.headers = {
            "Cookie": f"sessionid={browser.cookies['sessionid'].value}",
            "Accept-Encoding": "gzip",
        }
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)

    def close(self) -> None:
        self.connection.close()

    def seconds_of(self, addresses: list[str]) -> list[float]:
        return [elapsed_seconds(partial(self.open, address)) for address in addresses]

    def open(self, address: str) -> None:
        status = self.ask(address)
        if status != HTTPStatus.OK:
            raise RuntimeError(f"{address} answers {status}.")

    def ask(self, address: str) -> int:
        """The status of the answer, which is read whole."""
        self.connection.request("GET", address, headers=self.headers)
        answer = self.connection.getresponse()
        answer.read()
        return answer.status


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
