"""An address in one cell → street, town, region, postcode."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from clients.places.spelling import fold_place_name

POSTCODES = {
    "CA": r"[A-Z]\d[A-Z][ -]?\d[A-Z]\d",
    "US": r"\d{5}(?:-\d{4})?",
    "GB": r"[A-Z]{1,2}\d[A-Z\d]? ?\d[A-Z]{2}",
    "AU": r"\d{4}",
    "NZ": r"\d{4}",
}


@dataclass(frozen=True, slots=True)
class AddressRead:
    """The parts that could be told; the rest is empty."""

    street: str = ""
    town: str = ""
    region: str = ""
    postcode: str = ""


def split_address(
    text: str, *, country: str, regions: Mapping[str, str], is_town: Callable[[str], bool]
) -> AddressRead:
    """`regions` gives the full name for a folded name or its initials; `is_town` knows towns."""
    text, postcode = take_postcode(" ".join(text.split()), country)
    parts = [part.strip(" .") for part in re.split(r"[,\n]", text) if part.strip(" .")]
    if parts and is_country(parts[-1]):
        parts.pop()
    region = take_region(parts, regions)
    if not parts:
        return AddressRead("", "", region, postcode)
    if len(parts) == 1:
        street, town = town_at_the_end(parts[0], is_town)
        return AddressRead(street, town, region, postcode)
    if re.match(r"\d", parts[-1]) and not is_town(parts[-1]):  # the town stands first, or nowhere
        return AddressRead(", ".join(parts[1:]), parts[0], region, postcode)
    return AddressRead(", ".join(parts[:-1]), parts[-1], region, postcode)


def is_country(text: str) -> bool:
    return text.casefold() in {"canada", "usa", "us", "u.s.a", "ca", "australia", "new zealand"}


def take_postcode(text: str, country: str) -> tuple[str, str]:
    """The text without its postcode, and that; only at the end, where four figures may be a
    house number elsewhere."""
    pattern = POSTCODES.get(country)
    if not pattern:
        return text, ""
    found = list(re.finditer(rf"(?<![\w-])({pattern})(?![\w-])", text, re.I))
    if not found or (country != "CA" and found[-1].start() < len(text) / 3):
        return text, ""
    last = found[-1]
    return text[: last.start()].rstrip(" ,") + text[last.end() :], last[1].upper()


def take_region(parts: list[str], regions: Mapping[str, str]) -> str:
    """The full name of the region at the end of the parts, which lose it."""
    if not parts:
        return ""
    last = parts[-1]
    if len(parts) > 1 and (known := regions.get(region_key(last))):
        parts.pop()
        return known
    words = last.split()
    for count in (1, 2, 3):
        if len(words) > count and (known := regions.get(region_key(" ".join(words[-count:])))):
            if count == 1 and not is_region_mark(words[-1]):
                continue
            parts[-1] = " ".join(words[:-count]).rstrip(" ,")
            return known
    return ""


def is_region_mark(word: str) -> bool:
    """“NS” or “N.S.”, not the last word of a street."""
    return word.isupper() or len(word.strip(".")) > 3


def region_key(text: str) -> str:
    return fold_place_name(text).replace(".", "").strip()


def town_at_the_end(text: str, is_town: Callable[[str], bool]) -> tuple[str, str]:
    """“17 Gannet Row Mahone Bay”: the longest town that the text ends with."""
    words = text.split()
    if is_town(text):
        return "", text
    for start in range(max(1, len(words) - 4), len(words)):
        if is_town(" ".join(words[start:])) and any(map(str.isdigit, " ".join(words[:start]))):
            return " ".join(words[:start]).rstrip(" -,"), " ".join(words[start:])
    return text, ""
