"""Clients of a list that may be one: found by what they share, scored by how alike they are."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from rapidfuzz import fuzz

from jobs.importing.cells import EMAIL_LIKE, name_key, read_name, street_key
from jobs.importing.rows.facts import ClientCells

ASK_FROM = 68  # of 100: less alike is two clients
ONE_FROM = 74  # of 100: as alike as this is likely one
MAX_SHARING = 6  # people at one number or street: more is an office or a block of flats


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
    by_mark: dict[str, dict[str, ClientCells]] = defaultdict(dict)
    for client in clients:
        if client.name:
            for mark in client_marks(client):
                by_mark[mark].setdefault(name_key(read_name(client.name)), client)
    for sharing in by_mark.values():
        if 1 < len(sharing) <= MAX_SHARING:
            yield from combinations(sharing.values(), 2)


def client_marks(client: ClientCells) -> Iterable[str]:
    """What two rows of one client have in common."""
    yield from (email.casefold() for email in EMAIL_LIKE.findall(client.emails))
    for part in client.phones.replace("/", ";").replace(",", ";").split(";"):
        digits = "".join(filter(str.isdigit, part))[-10:]
        if len(digits) >= 7:
            yield digits[-7:]
    if client.street and any(map(str.isdigit, client.street)):
        yield street_key(client.street.partition(",")[0])


def likeness_of_clients(one: ClientCells, other: ClientCells) -> int:
    """0 to 100: the names, and what else is shared."""
    a = name_key(read_name(one.name))
    b = name_key(read_name(other.name))
    names = max(fuzz.ratio(a, b), 0.95 * fuzz.token_set_ratio(a, b))
    shared = len(set(client_marks(one)) & set(client_marks(other)))
    return round(min(100.0, names * 0.8 + 10 * min(shared, 2)))
