"""Money, areas, litres and coats as people write them."""

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import lru_cache

from clients.notation import SQUARE_FOOT, US_GALLON
from jobs.importing.cells.problems import UnreadableCell

NUMBER = r"\d+(?:[.,' ]\d{3})*(?:[.,]\d+)?|[.,]\d+"
HUNDREDTH = Decimal("0.01")
METRIC_WORDS = r"m2|m²|m\^2|sq\.? ?m(?:et(?:re|er)s?)?|square met(?:re|er)s?|qm|sqm"
FOOT_WORDS = (
    r"ft2|ft²|ft\^2|sq\.? ?(?:ft|feet|foot|')\.?|square f(?:ee|oo)t|sqft|s\.?f\.?|p2|pi2|pieds?2"
)
MOST_METRIC_PRODUCT = 60  # bare “12x14” in metres would be a hall; in feet it is a deck
US_QUART = US_GALLON / 4
LITRES_OF = {"l": Decimal(1), "ml": Decimal("0.001"), "gal": US_GALLON, "qt": US_QUART}
NUMBER_WORDS = {"one": 1, "two": 2, "three": 3, "four": 4, "single": 1, "double": 2}
NOTHING = {"-", "–", "—", "n/a", "na", "nil", "none", "?", "x", "tbd", "n/c", "free", "no charge"}


@dataclass(frozen=True, slots=True)
class Area:
    """In m²; `is_bare` where neither unit nor sides said what it was measured in."""

    m2: Decimal
    is_bare: bool = False


@lru_cache(maxsize=20_000)
def is_blank(text: str) -> bool:
    """Nothing, or one of the ways to write that."""
    return not text or text.casefold().strip(" .") in NOTHING


def plain_number(text: str, *, is_money: bool = False) -> Decimal:
    """“1,250.50”, “1 250”, “12,5”; a lone group of three behind a comma is thousands for money
    and where the number begins with more than a zero. Raises UnreadableCell."""
    bare = re.sub(r"[ '\u202f]", "", text)
    last = max(bare.rfind(","), bare.rfind("."))
    if last >= 0:
        mark = bare[last]
        other = "," if mark == "." else "."
        bare = bare.replace(other, "")
        is_grouping = bare.count(mark) > 1 or (
            re.search(rf"[1-9]\d{{0,2}}{re.escape(mark)}\d{{3}}$", bare) is not None
            and (mark == "," or (is_money and other not in text))
        )
        bare = bare.replace(mark, "") if is_grouping else bare.replace(mark, ".")
    try:
        return Decimal(bare)
    except InvalidOperation:
        raise UnreadableCell(f"“{text}” is not a number.") from None


@lru_cache(maxsize=10_000)
def read_money(text: str) -> Decimal | None:
    """“$1,250.00 + tax” → 1250.00; None where nothing was charged or written."""
    if is_blank(text):
        return None
    found = re.search(rf"(\(|-)?\s*[^\d\s(-]{{0,4}}\s*(-)?({NUMBER})", text)
    if not found:
        raise UnreadableCell(f"“{text}” is not a price. Write it such as 1250.00.")
    value = plain_number(found[3].strip(), is_money=True).quantize(HUNDREDTH)
    if value >= 10**8:
        raise UnreadableCell(f"“{text}” is too large for a price.")
    return -value if found[1] or found[2] else value


@lru_cache(maxsize=10_000)
def read_area(text: str, bare_unit: str = "") -> Area | None:
    """“24 m2”, “260 sq ft”, “12x14”, “~320'”, “20x10 + 4x6” → m². `bare_unit` is what numbers
    without a unit are in: “m2” or “ft2”. None where nothing is said."""
    if is_blank(text):
        return None
    words = text.casefold().replace("×", "x").replace("’", "'").replace("″", '"').replace("”", '"')
    unit = written_unit(words)
    sides = re.findall(side_pattern(), words)
    if sides:
        unit = unit or side_unit(words, sides, bare_unit)
        total = sum(side_length(a) * side_length(b) for a, b in sides)
        return checked_area(text, Decimal(total), unit, is_bare=not written_unit(words))
    numbers = re.findall(NUMBER, words.replace("m2", "").replace("ft2", ""))
    if not numbers:
        raise UnreadableCell(f"“{text}” is not a size. Write it such as 24 m2, 260 sq ft or 12x14.")
    value = plain_number(numbers[0].strip())
    if re.search(rf"{re.escape(numbers[0].strip())}\s*'", words):
        unit = unit or "ft2"
    return checked_area(text, value, unit or bare_unit or "m2", is_bare=not unit)


@lru_cache(maxsize=10_000)
def size_in_words(label: str) -> str:
    """“26 m2” of “cedar 26 m2”: a size with its unit or sides in the name of a deck; else
    nothing."""
    unit = rf"(?:{NUMBER})\s*(?:{METRIC_WORDS}|{FOOT_WORDS})(?!\w)"
    found = re.search(rf"{side_pattern()}|{unit}", label.casefold().replace("×", "x"))
    return found[0] if found else ""


def side_pattern() -> str:
    side = r"(\d+(?:\.\d+)?(?:\s*(?:'|ft)\s*(?:\d+\s*(?:\"|in)?)?)?)"
    return rf"{side}\s*(?:m|ft|')?\s*(?:x|by)\s*{side}"


def side_length(text: str) -> Decimal:
    """A side in its own unit; inches count as parts of a foot."""
    numbers = [Decimal(part) for part in re.findall(r"\d+(?:\.\d+)?", text)]
    return numbers[0] + (numbers[1] / 12 if len(numbers) > 1 else 0)


def written_unit(words: str) -> str:
    if re.search(rf"(?:\d|\b|\s)(?:{FOOT_WORDS})(?!\w)", words):
        return "ft2"
    if re.search(rf"(?:\d|\b|\s)(?:{METRIC_WORDS})(?!\w)", words):
        return "m2"
    return ""


def side_unit(words: str, sides: list[tuple[str, str]], bare_unit: str) -> str:
    """Of sides without a square unit: as the sides say, else as is likely for a deck."""
    if re.search(r"\d\s*(?:'|ft\b|feet\b)", words):
        return "ft2"
    if re.search(r"\d\s*m\b", words):
        return "m2"
    product = sum(side_length(a) * side_length(b) for a, b in sides)
    return "ft2" if bare_unit != "m2" or product > MOST_METRIC_PRODUCT else "m2"


def checked_area(text: str, value: Decimal, unit: str, *, is_bare: bool) -> Area:
    area = (value * (SQUARE_FOOT if unit == "ft2" else 1)).quantize(HUNDREDTH)
    if not 0 < area <= 100_000:
        raise UnreadableCell(f"“{text}” is not the size of a deck. Write it such as 24 m2.")
    return Area(area, is_bare)


@lru_cache(maxsize=10_000)
def read_litres(text: str, bare_unit: str = "l") -> Decimal | None:
    """“1 gal”, “3.5 L”, “2 x 4L”, “500 ml” → litres. None where no amount is written."""
    words = text.casefold()
    found = re.search(
        rf"(?:(\d+)\s*x\s*)?({NUMBER}|\d/\d|\d+ \d/\d|½)\s*"
        r"(ml|l|lt|ltr|lit(?:re|er)s?|gal(?:lons?|s)?|qts?|quarts?)\b",
        words,
    )
    if not found:
        whole = re.fullmatch(NUMBER, words.strip())
        return (
            volume(plain_number(whole[0].strip()) * LITRES_OF[bare_unit], text) if whole else None
        )
    unit = next(key for key in ("ml", "gal", "q", "l") if found[3].startswith(key))
    value = fraction(found[2].strip()) * LITRES_OF["qt" if unit == "q" else unit]
    return volume(value * int(found[1] or 1), text)


def fraction(text: str) -> Decimal:
    if text == "½":
        return Decimal("0.5")
    if "/" not in text:
        return plain_number(text)
    whole, _, part = text.rpartition(" ")
    top, _, bottom = part.partition("/")
    if bottom == "0":
        raise UnreadableCell(f"“{text}” is not an amount.")
    return Decimal(int(whole or 0)) + Decimal(top) / Decimal(bottom)


def volume(value: Decimal, text: str) -> Decimal:
    litres = value.quantize(HUNDREDTH)
    if not 0 < litres <= 10_000:
        raise UnreadableCell(f"“{text}” is not an amount. Write it such as 4 L or 1 gal.")
    return litres


@lru_cache(maxsize=10_000)
def read_coats(text: str) -> int | None:
    """“2 cts”, “two coats”, “2x”: how many coats; None where it is not said."""
    words = text.casefold()
    found = re.search(
        r"\b(\d{1,2}|one|two|three|four|single|double) ?(?:x\b|ct?s?\b|coats?\b|couches?\b)", words
    )
    found = (
        found or re.search(r"\bx ?(\d)\b(?! ?l)", words) or re.fullmatch(r" *(\d{1,2}) *", words)
    )
    if not found:
        return None
    count = NUMBER_WORDS.get(found[1]) or int(found[1])
    if not 1 <= count <= 10:
        raise UnreadableCell(f"“{text}”: coats are 1 to 10.")
    return count
