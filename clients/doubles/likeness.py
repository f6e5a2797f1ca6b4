"""How alike two clients are: by their names, and by the numbers, addresses and streets they share.
One score for a list that is brought in, for the doubles of the book and for a client who is added.
"""

import re
from collections.abc import Collection, Iterator
from functools import lru_cache

from rapidfuzz import fuzz

from clients.places.spelling import fold_place_name, strip_accents

ASK_FROM = 68  # of 100: less alike is two clients
ONE_FROM = 74  # of 100: as alike as this is likely one
MAX_SHARING = 6  # people at one number or street: more is an office or a block of flats
STREET_WORDS = {
    **{"street": "st", "str": "st", "road": "rd", "drive": "dr", "drv": "dr", "avenue": "ave"},
    **{"av": "ave", "lane": "ln", "court": "ct", "crescent": "cres", "cr": "cres"},
    **{"place": "pl", "terrace": "terr", "boulevard": "blvd", "highway": "hwy", "hiway": "hwy"},
    **{"circle": "cir", "square": "sq", "parkway": "pkwy", "point": "pt", "mount": "mt"},
    **{"north": "n", "south": "s", "east": "e", "west": "w", "saint": "st", "number": "no"},
}


@lru_cache(maxsize=10_000)
def street_key(street: str) -> str:
    """The form in which two streets are compared: “9 Eider Dr.” is “9 eider drive”."""
    words = re.findall(r"\w+", fold_place_name(street).casefold())
    return " ".join(STREET_WORDS.get(word, word) for word in words)


@lru_cache(maxsize=10_000)
def name_key(name: str) -> str:
    """The form in which two names are compared: no accents, titles or points, words in order."""
    words = re.findall(r"\w+", strip_accents(name).casefold().replace("&", " "))
    left_out = {"mr", "mrs", "ms", "dr", "mme", "m", "and", "the"}
    return " ".join(sorted(word for word in words if word not in left_out)) or name.casefold()


def phone_mark(number: str) -> str:
    """The digits by which two numbers are compared, or nothing of too short a one: an area code
    may be missing."""
    digits = "".join(filter(str.isdigit, number.partition(";")[0]))[-10:]
    return digits[-7:] if len(digits) >= 7 else ""


def street_mark(street: str) -> str:
    """A street with its number; a street alone says nothing."""
    return street_key(street) if any(map(str.isdigit, street)) else ""


def client_likeness(
    name: str, marks: Collection[str], other_name: str, other_marks: Collection[str]
) -> int:
    """0 to 100: the names, and what else is shared (marks as above, and e-mail addresses)."""
    one, other = name_key(name), name_key(other_name)
    names = max(fuzz.ratio(one, other), 0.95 * fuzz.token_set_ratio(one, other))
    shared = len(set(marks) & set(other_marks))
    return round(min(100.0, names * 0.8 + 10 * min(shared, 2)))


def contact_marks(normalized: Collection[str]) -> Iterator[str]:
    """Marks of e-mail addresses and numbers as the book keeps them."""
    for text in normalized:
        mark = text if "@" in text else phone_mark(text)
        if mark:
            yield mark
