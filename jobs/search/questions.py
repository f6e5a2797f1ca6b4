"""What a look-up asks for: years, months, seasons, kinds of work, surfaces, states and numbers of
offers are taken out of the words, and what is left is looked for as words.

Standard library only. Words arrive folded (small letters, no accents), as the book keeps them.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

MAX_SEARCH_WORDS = 12
FIRST_YEAR = 1950  # no job is older (constraint job_in_living_memory)
LAST_YEAR = 2099
MAX_OFFER_DIGITS = 9  # of a number that the database can hold
MONTH_PATTERN = re.compile(r"(?:19|20)\d\d-(?:0[1-9]|1[0-2])")
WORD_PATTERN = re.compile(rf"(?<!\S){MONTH_PATTERN.pattern}(?!\S)|[^\W_]+")

MONTH_NAMES = [
    "january janvier",
    "february fevrier",
    "march mars",
    "april avril",
    "may mai",
    "june juin",
    "july juillet",
    "august aout",
    "september septembre",
    "october octobre",
    "november novembre",
    "december decembre",
]
# Too short to stand alone: they mean a month only beside a year.
SHORT_MONTH_NAMES = [
    "jan janv",
    "feb fev fevr",
    "mar",
    "apr avr",
    "",
    "jun",
    "jul juil",
    "aug",
    "sep sept",
    "oct",
    "nov",
    "dec",
]
SEASON_NAMES = {
    "spring": "spring printemps",
    "summer": "summer ete",
    "autumn": "autumn fall automne",
    "winter": "winter hiver",
}
WORK_NAMES = {
    "strip": "strip strips stripped stripping decapage decapages decape decapee decapees",
    "recoat": "recoat recoats recoated recoating",
    "clean": "clean cleans cleaned cleaning nettoyage nettoyages nettoye nettoyee nettoyees",
    "repair": "repair repairs repaired repairing reparation reparations repare reparee reparees",
}
# As the pages write them, in English and French; the longest first.
WORK_PHRASES = {
    "nettoyage et nouvelle couche": "recoat",
    "decapage et finition": "strip",
    "clean and recoat": "recoat",
    "strip and seal": "strip",
    "nouvelle couche": "recoat",
    "nettoyage seul": "clean",
    "clean only": "clean",
}
STATE_NAMES = {
    "archived": "archived archive archivee archives archivees",
    "booked": "booked reserve reservee reserves reservees",
    "overdue": "overdue",
}
# Boards are on every deck, so that nobody asks for them.
SURFACE_NAMES = {
    "stairs": "stairs steps escalier escaliers",
    "rails": "rail rails railing railings handrail handrails balustrade",
    "screens": "screen screens ecran ecrans",
}
OFFER_NAMES = set("offer offers quote quotes offre offres soumission soumissions devis".split())
NUMBER_NAMES = set("no nr number numero".split())
BEFORE_A_TIME = set("in of from en de du".split())


class Topic(StrEnum):
    """What a part of a question is about."""

    WORD = "word"
    OFFER = "offer"
    WORK = "work"
    SURFACE = "surface"
    STATE = "state"
    TIME = "time"


@dataclass(frozen=True)
class QuestionPart:
    """One thing that is asked for.

    `value` of a time is `2023`, `2023-05`, `-05` (a month of any year) or `2021~spring`; of work
    the kind of job, of a surface its name; of an offer its number. A firm part was chosen, not
    typed, and is never given up.
    """

    topic: Topic
    typed: str
    value: str
    is_firm: bool = False

    @property
    def year(self) -> str:
        """Of a time; empty if it is one month of any year."""
        return self.value[:4] if self.topic is Topic.TIME and self.value[0] != "-" else ""

    @property
    def other_word(self) -> str:
        """What it may mean besides, as a word of the book: “May” is a month and a name."""
        return "" if self.is_firm or not self.typed.isalnum() else self.typed


@dataclass(frozen=True)
class SearchFilters:
    """What was chosen beside the words; empty means anything.

    With a year, product (words of its name) and finish are those of that year. `archived` is "yes"
    or "no".
    """

    finish: str = ""
    product: str = ""
    species: str = ""
    town: str = ""
    year: int | None = None
    state: str = ""
    archived: str = ""

    @property
    def firm_parts(self) -> list[QuestionPart]:
        """Year and state, which are asked for just as if they were typed."""
        chosen = [(Topic.TIME, str(self.year or "")), (Topic.STATE, self.state)]
        return [QuestionPart(topic, value, value, is_firm=True) for topic, value in chosen if value]


NO_FILTERS = SearchFilters()


def values_by_name(names: dict[str, str]) -> dict[str, str]:
    return {name: value for value, words in names.items() for name in words.split()}


def numbers_by_name(names: Sequence[str]) -> dict[str, str]:
    return {name: f"{n:02d}" for n, words in enumerate(names, 1) for name in words.split()}


MONTHS = numbers_by_name(MONTH_NAMES)
ALL_MONTHS = MONTHS | numbers_by_name(SHORT_MONTH_NAMES)
SEASONS = values_by_name(SEASON_NAMES)
WORK = values_by_name(WORK_NAMES)
STATES = values_by_name(STATE_NAMES)
SURFACES_NAMED = values_by_name(SURFACE_NAMES)


def split_words(folded: str) -> list[str]:
    """The words of a folded text in the order typed, a month such as 2023-05 as one; the digits of
    a telephone number joined."""
    words = WORD_PATTERN.findall(folded)
    joined = "".join(words)
    if joined.isdecimal() and len(joined) >= 4 and len(words) > 1 and not all(map(is_year, words)):
        return [joined[-10:]]
    return list(dict.fromkeys(words))[:MAX_SEARCH_WORDS]


def is_year(word: str) -> bool:
    return (
        len(word) == 4
        and word.isascii()
        and word.isdecimal()
        and FIRST_YEAR <= int(word) <= LAST_YEAR
    )


def parse_question(words: Sequence[str]) -> list[QuestionPart]:
    """The parts of a question, in the order typed. Beside other things a surface is what something
    went on; alone it is a word."""
    parts: list[QuestionPart] = []
    place = 0
    while place < len(words):
        rest = words[place:]
        if rest[0] in BEFORE_A_TIME and read_time(rest[1:]):
            place += 1
            continue
        part, taken = read_first_part(rest)
        parts.append(part)
        place += taken
    if len(parts) == 1 and parts[0].topic is Topic.SURFACE:
        return [QuestionPart(Topic.WORD, parts[0].typed, parts[0].typed)]
    return parts


PartRead = tuple[QuestionPart, int]  # with how many words it took


def read_first_part(words: Sequence[str]) -> PartRead:
    for read in READERS:
        if found := read(words):
            return found
    return QuestionPart(Topic.WORD, words[0], words[0]), 1


def read_offer(words: Sequence[str]) -> PartRead | None:
    """“offer 114”, “quote no 114”, “soumission 114”."""
    if words[0] not in OFFER_NAMES:
        return None
    taken = 2 if words[1:2] and words[1] in NUMBER_NAMES else 1
    number = words[taken] if len(words) > taken else ""
    if not (number.isascii() and number.isdecimal() and len(number) <= MAX_OFFER_DIGITS):
        return None
    typed = " ".join(words[: taken + 1])
    return QuestionPart(Topic.OFFER, typed, str(int(number))), taken + 1


def read_time(words: Sequence[str]) -> PartRead | None:
    """“2023”, “2023-05”, “May 2023”, “2023 May”, “spring 2021”, “May”."""
    if not words:
        return None
    if pair := read_time_of_year(words[:2]):
        return pair
    word = words[0]
    if is_year(word) or MONTH_PATTERN.fullmatch(word):
        return QuestionPart(Topic.TIME, word, word), 1
    if word in MONTHS:
        return QuestionPart(Topic.TIME, word, f"-{MONTHS[word]}"), 1
    return None


def read_time_of_year(pair: Sequence[str]) -> PartRead | None:
    """A month or a season beside a year."""
    years = [word for word in pair if is_year(word)]
    names = [word for word in pair if not is_year(word)]
    if len(years) != 1 or len(names) != 1:
        return None
    year = years[0]
    name = names[0]
    if name in ALL_MONTHS:
        return QuestionPart(Topic.TIME, " ".join(pair), f"{year}-{ALL_MONTHS[name]}"), 2
    if name in SEASONS:
        return QuestionPart(Topic.TIME, " ".join(pair), f"{year}~{SEASONS[name]}"), 2
    return None


def read_work(words: Sequence[str]) -> PartRead | None:
    """“strips”, “clean and recoat”, « décapage »."""
    for phrase, kind in WORK_PHRASES.items():
        size = phrase.count(" ") + 1
        if list(words[:size]) == phrase.split():
            return QuestionPart(Topic.WORK, phrase, kind), size
    word = words[0]
    return (QuestionPart(Topic.WORK, word, WORK[word]), 1) if word in WORK else None


def read_state(words: Sequence[str]) -> PartRead | None:
    """“archived”, “booked”, “overdue”, « en retard »."""
    if list(words[:2]) == ["en", "retard"]:
        return QuestionPart(Topic.STATE, "en retard", "overdue"), 2
    word = words[0]
    return (QuestionPart(Topic.STATE, word, STATES[word]), 1) if word in STATES else None


def read_surface(words: Sequence[str]) -> PartRead | None:
    """“rails”, “stairs”, « garde-corps »."""
    word = words[0]
    if list(words[:2]) == ["garde", "corps"]:
        return QuestionPart(Topic.SURFACE, "corps", "rails"), 2
    if word not in SURFACES_NAMED:
        return None
    return QuestionPart(Topic.SURFACE, word, SURFACES_NAMED[word]), 1


READERS: Sequence[Callable[[Sequence[str]], PartRead | None]] = (
    read_offer,
    read_time,
    read_work,
    read_surface,
    read_state,
)
