"""What was done, from free words; and the jobs that stand in notes."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from jobs.importing.cells.numbers import read_coats
from jobs.importing.cells.problems import UnreadableCell
from jobs.importing.cells.spans import SEASONS, Calendar, month_numbers, read_span
from jobs.partial_dates import DaySpan

# Words of the trade, in order: the first kind found is the one (common practice, no source).
KIND_WORDS = {
    "strip": (
        r"strip\w*|sand(?:ed|ing)?(?: back)?|bare wood|refinish\w*|restor\w+|full job|resto|"
        r"s ?& ?s|décap\w*|sabl(?:é|age|er)|back to (?:bare )?wood"
    ),
    "recoat": (
        r"re-?coat\w*|re-?oil\w*|oil(?:ed|ing)?|re-?stain\w*|stain(?:ed|ing)?|re-?seal\w*|"
        r"seal(?:ed|ing)?|coat(?:ed|s|ing)?|top[ -]?up|maint\w*|refresh\w*|touch[ -]?up|"
        r"c ?& ?c|paint(?:ed|ing)?|finish(?:ed)?|clean (?:and|&|\+) (?:re)?coat|"
        r"huil\w*|teint\w*|couches?|entretien|scell\w*"
    ),
    "clean": r"clean\w*|nettoy\w*|lav(?:é|age)|(?:pressure|power|soft)?[ -]?wash\w*|brighten\w*",
    "repair": (
        r"repair\w*|replac\w+|fix(?:ed)?|board swap\w*|new boards?|rebuilt|carpentry|re-?screw\w*"
    ),
}
KIND_PATTERNS = {kind: re.compile(rf"\b(?:{words})\b", re.I) for kind, words in KIND_WORDS.items()}
PLANS = re.compile(
    r"\b(?:next|due|wants?|quote[ds]?|should|will|plan(?:ned|s)?|call|ask(?:ed)?|maybe|not|never|"
    r"if|before|needs?|booked|would|estimate)\b",
    re.I,
)
SENTENCE = re.compile(r"[;\n|]|\.(?=\s|$)")
FRAGMENT = re.compile(r",(?!\d{3}\b)|\bthen\b|\band\b(?=.*\d)|\s[-–/+]\s")


@dataclass(frozen=True, slots=True)
class PastWork:
    """A job that a note tells of."""

    kind: str
    span: DaySpan
    coats: int | None
    words: str


@lru_cache(maxsize=10_000)
def read_kind(text: str) -> str:
    """strip, recoat, clean or repair; nothing where the words say none of these."""
    for kind, pattern in KIND_PATTERNS.items():
        if pattern.search(text):
            return kind
    return ""


@lru_cache(maxsize=10_000)
def read_past_work(text: str, calendar: Calendar) -> tuple[PastWork, ...]:
    """“oiled 2x spring 21, strip 2018” → two jobs. What is planned or asked is none."""
    return tuple(work for words in SENTENCE.split(text) for work in works_told(words, calendar))


def works_told(sentence: str, calendar: Calendar) -> Iterator[PastWork]:
    """Work without a date is of the work with one that follows: “stripped, brightened and sealed
    2022” is one strip."""
    undated: list[str] = []
    for fragment in FRAGMENT.split(sentence):
        words = fragment.strip()
        if PLANS.search(words) or not read_kind(words):
            continue
        undated.append(words)
        span = span_within(words, calendar)
        if span is not None:
            told = ", ".join(undated)
            yield PastWork(read_kind(told), span, coats_within(told), told)
            undated = []


def coats_within(words: str) -> int | None:
    try:
        return None if re.fullmatch(r"\s*\d+\s*", words) else read_coats(words)
    except UnreadableCell:
        return None


def span_within(words: str, calendar: Calendar) -> DaySpan | None:
    """The longest run of words that is a date; it must hold a year."""
    parts = words.replace("(", " ").replace(")", " ").split()
    for length in range(min(4, len(parts)), 0, -1):
        for start in range(len(parts) - length + 1):
            piece = " ".join(parts[start : start + length]).strip(" ,.:;")
            if not looks_dated(piece):
                continue
            try:
                return read_span(piece, calendar)
            except UnreadableCell:
                continue
    return None


def looks_dated(piece: str) -> bool:
    """Saves trying: a year of four figures, a day with dashes, or a name of a time and figures."""
    if re.fullmatch(r"(?:19|20)\d{2}", piece) or re.search(r"\d[-/.]\d", piece):
        return not re.search(r"[a-z]{4,}", piece, re.I) or has_time_word(piece)
    return bool(re.search(r"\d{2}", piece)) and has_time_word(piece)


def has_time_word(piece: str) -> bool:
    words = re.findall(r"[^\W\d_]+", piece.casefold())
    times = {*SEASONS, "early", "mid", "late"}
    return bool(words) and all(word in times or word in month_numbers() for word in words)
