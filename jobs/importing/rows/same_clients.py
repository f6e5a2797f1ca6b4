"""Clients of a list that may be one: found by what they share, scored by how alike they are."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, groupby
from operator import itemgetter

from clients.doubles import (
    ASK_FROM,
    MAX_SHARING,
    ONE_FROM,
    client_likeness,
    phone_mark,
    street_mark,
)
from jobs.importing.cells import EMAIL_LIKE, name_key, read_name
from jobs.importing.rows.facts import ClientCells


@dataclass(frozen=True, slots=True)
class ClientPair:
    """Two names of the list, how alike they are, and what is likely."""

    key: str
    label: str
    score: int
    preset: str


def pair_key(one: str, other: str) -> str:
    return "|".join(sorted((one, other)))


def same_client_pairs(clients: Sequence[ClientCells]) -> list[ClientPair]:
    """Different names that share a number, an address or a street; the likest first."""
    found: dict[str, ClientPair] = {}
    for one, other in sharing_pairs(clients):
        a = read_name(one.name)
        b = read_name(other.name)
        score = likeness_of_clients(one, other)
        key = pair_key(name_key(a), name_key(b))
        if score >= ASK_FROM and (key not in found or found[key].score < score):
            preset = "same" if score >= ONE_FROM else "different"
            found[key] = ClientPair(key, f"{a} · {b}", score, preset)
    return sorted(found.values(), key=lambda pair: (-pair.score, pair.label))


def sharing_pairs(clients: Sequence[ClientCells]) -> Iterator[tuple[ClientCells, ClientCells]]:
    """Each two with other names that have something in common, however many there are."""
    marked = sorted(
        (mark, at)
        for at, client in enumerate(clients)
        if client.name
        for mark in client_marks(client)
    )
    for _, group in groupby(marked, key=itemgetter(0)):
        together = [at for _, at in group]
        if len(together) == 1:
            continue  # as nearly all are
        sharing: dict[str, ClientCells] = {}
        for at in together:
            sharing.setdefault(name_key(read_name(clients[at].name)), clients[at])
        if len(sharing) <= MAX_SHARING:
            yield from combinations(sharing.values(), 2)


def client_marks(client: ClientCells) -> Iterable[str]:
    """What two rows of one client have in common."""
    yield from (email.casefold() for email in EMAIL_LIKE.findall(client.emails))
    for part in client.phones.replace("/", ";").replace(",", ";").split(";"):
        if mark := phone_mark(part):
            yield mark
    if mark := street_mark(client.street.partition(",")[0]):
        yield mark


def likeness_of_clients(one: ClientCells, other: ClientCells) -> int:
    """0 to 100: the names, and what else is shared."""
    marks, other_marks = set(client_marks(one)), set(client_marks(other))
    return client_likeness(read_name(one.name), marks, read_name(other.name), other_marks)
