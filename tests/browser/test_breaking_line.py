"""A line that breaks before a photograph is through: it goes on where it stopped."""

import random
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from clients.models import Deck, UploadPart
from jobs.models import Photo
from tests.browser.test_without_signal import kept, wait_until_sent
from tests.factories import CoatFactory

Open = Callable[..., Page]
CUT_AFTER_BYTES = 150_000  # on their way to the book, over one connection


class BreakingLine:
    """Between browser and book; each connection is reset once so many bytes went up."""

    def __init__(self, target: tuple[str, int]) -> None:
        self.target = target
        self.cuts = 0
        self.sent = 0
        self.listener = socket.create_server((target[0], 0))
        self.url = f"http://{target[0]}:{self.listener.getsockname()[1]}"
        threading.Thread(target=self.listen, daemon=True).start()

    def listen(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self.listener.accept()
                far = socket.create_connection(self.target)
                for carry in (self.carry_up, self.carry_down):
                    threading.Thread(target=carry, args=(near, far), daemon=True).start()

    def carry_up(self, near: socket.socket, far: socket.socket) -> None:
        passed = 0
        with suppress(OSError):
            while body := near.recv(4096):
                passed += len(body)
                self.sent += len(body)
                if passed > CUT_AFTER_BYTES:
                    self.cuts += 1
                    break
                far.sendall(body)
        hang_up(near, far)

    def carry_down(self, near: socket.socket, far: socket.socket) -> None:
        with suppress(OSError):
            while body := far.recv(65536):
                near.sendall(body)
        hang_up(near, far)


def hang_up(*ends: socket.socket) -> None:
    for end in ends:
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)
        end.close()


@pytest.fixture
def line(live_server: LiveServer) -> Iterator[BreakingLine]:
    there = urlsplit(live_server.url)
    found = BreakingLine((there.hostname or "", there.port or 0))
    yield found
    found.listener.close()


@pytest.fixture
def deck(people: object) -> Deck:
    return CoatFactory(product__name="Tidewood Oil").job.deck


def large_picture(folder: Path) -> Path:
    """Noise: the phone cannot make it smaller than the line carries."""
    chance = random.Random(7)
    image = Image.frombytes("RGB", (900, 700), chance.randbytes(900 * 700 * 3))
    image.save(path := folder / "noise.jpg", "JPEG", quality=80)
    return path


def test_a_photograph_larger_than_the_line_carries_arrives_in_parts_once(
    open_as: Open, line: BreakingLine, deck: Deck, tmp_path: Path
) -> None:
    job = deck.jobs.get()
    page = open_as("crew", f"{line.url}/jobs/{job.pk}/", may_complain=True)
    page.locator("summary", has_text="Add photos").click()
    kept(page)
    page.locator("input[type=file]").set_input_files(large_picture(tmp_path))
    page.get_by_text("1 photo kept on this phone.").wait_for()
    page.get_by_role("button", name="Add photos").click()
    heading = page.locator("[data-on-phone] summary")
    expect(heading).to_contain_text("Waiting to be sent (1)")
    assert line.cuts
    assert not Photo.objects.exists()  # it does not go through whole
    cuts, sent = line.cuts, line.sent

    heading.click()
    page.get_by_role("button", name="Send now").click()
    wait_until_sent(page)

    photo = Photo.objects.get()
    assert photo.job == job
    assert line.cuts > cuts  # it was cut on and on, and went on where it stopped
    assert line.sent - sent < 2 * photo.image.size
    assert not UploadPart.objects.exists()
