"""Clients of the book who may be one: found by what they share, scored by how alike they are."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from django.db import connection

from clients.doubles.likeness import (
    ASK_FROM,
    MAX_SHARING,
    client_likeness,
    contact_marks,
    name_key,
    phone_mark,
    street_mark,
)
from clients.models import Client, ToldApart

PAIRS_AT_A_TIME = 2_000  # scored with the rows of their clients in memory
# What two entries of one client have in common, by words that the database can compare: the end of
# a number, an e-mail address, the number and first word of a street in a town, all words of a name.
SHARED_SQL = """
WITH marks AS (
    SELECT p.client_id, CASE p.kind WHEN 'email' THEN p.normalized
        ELSE right(regexp_replace(split_part(p.normalized, ';', 1), '[^0-9]', '', 'g'), 7)
        END AS mark
    FROM clients_contactpoint p
    UNION
    SELECT s.client_id, 'street ' || array_to_string((regexp_split_to_array(
        trim(regexp_replace(fold(s.street), '[^[:alnum:]]+', ' ', 'g')), ' '))[1:2], ' ')
        || ' ' || fold(s.town)
    FROM clients_property s WHERE s.street ~ '[0-9]'
    UNION
    SELECT c.id, 'name ' || (SELECT string_agg(word, ' ' ORDER BY word)
        FROM regexp_split_to_table(fold(c.name), '[^[:alnum:]]+') AS word WHERE word <> '')
    FROM clients_client c
), shared AS (
    SELECT mark, array_agg(client_id ORDER BY client_id) AS ids FROM marks
    JOIN clients_client c ON c.id = marks.client_id AND c.archived_at IS NULL
    WHERE mark IS NOT NULL AND length(mark) >= 7
    GROUP BY mark HAVING count(*) BETWEEN 2 AND %s
)
SELECT ids FROM shared
"""
# Thousands of numbers at once, which take an ORM longer to write down than to find.
NAMES_SQL = "SELECT id, name FROM clients_client WHERE id = ANY(%s)"
POINTS_SQL = "SELECT client_id, normalized FROM clients_contactpoint WHERE client_id = ANY(%s)"
STREETS_SQL = "SELECT client_id, street FROM clients_property WHERE client_id = ANY(%s)"


@dataclass(frozen=True)
class LikelyDouble:
    """Two clients, the older first, how alike they are, and what they share, in words."""

    one: Client
    other: Client
    score: int
    shared: Sequence[str]


# How alike two clients are, and their numbers, the older first: plain, as many of them are kept.
LikelyPair = tuple[int, int, int]


def likely_doubles() -> list[LikelyDouble]:
    """All of the book, the likest first; those told apart are left out."""
    return doubles_of(likely_pairs())


def likely_pairs() -> list[LikelyPair]:
    """The same by their numbers: what looking through a large book keeps in memory."""
    with connection.cursor() as cursor:
        cursor.execute(SHARED_SQL, [MAX_SHARING])
        groups = [row[0] for row in cursor.fetchall()]
    pairs = {pair for ids in groups for pair in combinations(ids, 2)} - told_apart()
    in_order = sorted(pairs)
    parts = range(0, len(in_order), PAIRS_AT_A_TIME)
    scored = [
        pair for first in parts for pair in score_pairs(in_order[first : first + PAIRS_AT_A_TIME])
    ]
    return sorted(scored, key=lambda pair: (-pair[0], *pair[1:]))


def told_apart() -> set[tuple[int, int]]:
    return set(ToldApart.objects.values_list("one_id", "other_id"))


def score_pairs(pairs: Sequence[tuple[int, int]]) -> Iterator[LikelyPair]:
    """Those that are alike enough to be asked about."""
    keys = sorted({pk for pair in pairs for pk in pair})
    marks: dict[int, set[str]] = {pk: set() for pk in keys}
    with connection.cursor() as cursor:
        cursor.execute(NAMES_SQL, [keys])
        names = dict(cursor.fetchall())
        cursor.execute(POINTS_SQL, [keys])
        for pk, normalized in cursor.fetchall():
            marks[pk].update(contact_marks([normalized]))
        cursor.execute(STREETS_SQL, [keys])
        for pk, street in cursor.fetchall():
            marks[pk].update(filter(None, [street_mark(street)]))
    for one, other in pairs:
        if one in names and other in names:
            score = client_likeness(names[one], marks[one], names[other], marks[other])
            if score >= ASK_FROM:
                yield score, one, other


def doubles_of(pairs: Sequence[LikelyPair]) -> list[LikelyDouble]:
    """With their clients; those of a client who is there no more are left out."""
    rows = clients_with_reach({pk for _, *both in pairs for pk in both})
    return [
        compare_clients(rows[one], rows[other])
        for _, one, other in pairs
        if one in rows and other in rows
    ]


def clients_with_reach(keys: Collection[int]) -> dict[int, Client]:
    return Client.objects.prefetch_related("contact_points", "properties__decks").in_bulk(keys)


def compare_clients(one: Client, other: Client) -> LikelyDouble:
    marks, other_marks = marks_of_client(one), marks_of_client(other)
    score = client_likeness(one.name, marks.keys(), other.name, other_marks.keys())
    shared = [words for mark, words in marks.items() if mark in other_marks]
    if name_key(one.name) == name_key(other.name):
        shared.insert(0, "the name")
    return LikelyDouble(one, other, score, shared)


def marks_of_client(client: Client) -> dict[str, str]:
    """What they may share with another entry, each with how it is written."""
    points = {
        mark: point.value
        for point in client.contact_points.all()
        for mark in contact_marks([point.normalized])
    }
    streets = {street_mark(home.street): home.street for home in client.properties.all()}
    return {mark: words for mark, words in {**points, **streets}.items() if mark}


def clients_like(
    *, name: str, contacts: Iterable[str], street: str, town: str
) -> list[LikelyDouble]:
    """Clients of the book who may be the one that is being added; the likest first.
    `contacts` are numbers and addresses as they are compared."""
    typed = list(contacts)
    marks = {*contact_marks(typed), *filter(None, [street_mark(street)])}
    near = by_marks(typed, name, street, town)
    found: dict[int, LikelyDouble] = {}
    new = Client(name=name)
    for pk, client in clients_with_reach(near).items():
        theirs = marks_of_client(client)
        score = client_likeness(name, marks, client.name, theirs)
        shared = [words for mark, words in theirs.items() if mark in marks]
        if score >= ASK_FROM:
            found[pk] = LikelyDouble(client, new, score, shared)
    return sorted(found.values(), key=lambda each: (-each.score, each.one.name))


def by_marks(contacts: Sequence[str], name: str, street: str, town: str) -> set[int]:
    """Current clients with one of these numbers or addresses, that street number in that town, or
    that name."""
    current = Client.objects.current()
    found: dict[int, None] = {}
    emails = [text for text in contacts if "@" in text]
    for mark in filter(None, map(phone_mark, (text for text in contacts if "@" not in text))):
        rows = current.filter(contact_points__normalized__contains=mark)
        found |= dict.fromkeys(rows.values_list("pk", flat=True)[:MAX_SHARING])
    queries = [
        current.filter(contact_points__normalized__in=emails),
        current.filter(name__iexact=name),
    ]
    number = next((word for word in street.split() if any(map(str.isdigit, word))), "")
    if number:
        queries.append(
            current.filter(properties__street__icontains=number, properties__town__iexact=town)
        )
    for rows in queries:
        found |= dict.fromkeys(rows.values_list("pk", flat=True)[:200])
    return set(found)
