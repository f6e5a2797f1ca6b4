"""Lists of old are all in capitals; letters and pages are not."""

import re
from functools import lru_cache

LEAST_LETTERS = 5  # fewer may be initials
# Provinces, directions and what else is written in capitals in an address.
KEPT = frozenset(
    "RR PO NS NB PE PEI NL QC ON MB SK AB BC YT NT NU NE NW SE SW II III IV USA UK".split()
)
WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")


@lru_cache(maxsize=10_000)
def calm_capitals(text: str) -> str:
    """“O'HARE, LENORE” → “O'Hare, Lenore”; what is not all in capitals stays as it is."""
    letters = sum(map(str.isalpha, text))
    return WORD.sub(calm_word, text) if letters >= LEAST_LETTERS and text.isupper() else text


def calm_word(found: re.Match[str]) -> str:
    word = found[0]
    if word in KEPT:
        return word
    first, *rest = re.split(r"(['’])", word)
    calm = f"Mc{first[2:].capitalize()}" if re.match(r"MC\w{3}", first) else first.capitalize()
    return calm + "".join(part.lower() if part == "S" else part.capitalize() for part in rest)
