"""50 people who ask for the next page as soon as they have the last: how many they get a second,
against the barest answer that the same server gives."""

import random
import threading
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing
from datetime import date
from http import HTTPStatus

from clients.doubles import look_through_book
from tests.bench.lists import list_addresses
from tests.bench.timing import percentile
from tests.bench.visitors import SignedInVisitor, web_site

PEOPLE = 50
TURNS = 3  # pages, bare answers, pages, …
PAGE_SECONDS, BARE_SECONDS = 12.0, 4.0
BARE_ADDRESS = "/phone/token/"  # who asks, the business, and no page


def measure_busy_people(today: date) -> dict[str, float]:
    """Every page that lists the book, as often as any other; compressed, as browsers ask."""
    look_through_book()  # the worker does it; a page asks for it
    pages = list(list_addresses(today).values())
    with web_site() as port, ExitStack() as stack:
        people = [stack.enter_context(closing(SignedInVisitor(port))) for _ in range(PEOPLE)]
        keep_asking(people, pages, seconds=PAGE_SECONDS)  # every thread of both processes is warm
        asked: list[float] = []
        bare: list[float] = []
        for _ in range(TURNS):
            asked += keep_asking(people, pages, seconds=PAGE_SECONDS)
            bare += keep_asking(people, [BARE_ADDRESS], seconds=BARE_SECONDS)
    pages_a_second = len(asked) / (TURNS * PAGE_SECONDS)
    bare_a_second = len(bare) / (TURNS * BARE_SECONDS)
    return {
        "pages_a_second": pages_a_second,
        "p50_ms": 1000 * percentile(asked, 0.5),
        "p95_ms": 1000 * percentile(asked, 0.95),
        "bare_a_second": bare_a_second,
        "times_bare": bare_a_second / pages_a_second,
    }


def keep_asking(
    people: Sequence[SignedInVisitor], addresses: Sequence[str], *, seconds: float
) -> list[float]:
    """How long each page took that came before the time was over. Who is told to come back does,
    by another connection: too many were with one of the two processes."""
    ends_at = time.perf_counter() + seconds
    together = threading.Barrier(len(people))

    def ask(number: int) -> list[float]:
        choose = random.Random(number)
        took = []
        together.wait()
        while (began := time.perf_counter()) < ends_at:
            is_there = people[number].ask(choose.choice(addresses)) == HTTPStatus.OK
            ended = time.perf_counter()
            if not is_there:
                people[number].close()
                time.sleep(1)
            elif ended < ends_at:
                took.append(ended - began)
        return took

    with ThreadPoolExecutor(len(people)) as threads:
        return [each for took in threads.map(ask, range(len(people))) for each in took]
