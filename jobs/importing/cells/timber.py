"""Timber as it is called in a list → the values of a deck's species."""

import re
from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz import fuzz, process

from jobs.importing.cells.numbers import size_in_words

# Trade words as they are written in lists (common practice, no source). True: nobody could mean
# anything else, so that nobody is asked.
TIMBER_WORDS: dict[str, tuple[str, bool]] = {
    "treated pine": ("treated_pine", True),
    "pressure treated": ("treated_pine", True),
    "pressure treated pine": ("treated_pine", True),
    "pressure treated lumber": ("treated_pine", True),
    "pt": ("treated_pine", False),
    "p t": ("treated_pine", False),
    "pt pine": ("treated_pine", True),
    "pt lumber": ("treated_pine", False),
    "pt spruce": ("spruce", False),
    "treated": ("treated_pine", False),
    "green treated": ("treated_pine", False),
    "brown treated": ("treated_pine", False),
    "acq": ("treated_pine", False),
    "pine": ("treated_pine", False),
    "spruce": ("spruce", True),
    "spf": ("spruce", False),
    "fir": ("douglas_fir", False),
    "douglas fir": ("douglas_fir", True),
    "doug fir": ("douglas_fir", True),
    "larch": ("larch", True),
    "tamarack": ("larch", False),
    "cypress": ("cypress", False),
    "cypress pine": ("cypress", True),
    "cedar": ("red_cedar", False),
    "red cedar": ("red_cedar", False),
    "western red cedar": ("red_cedar", True),
    "western red": ("red_cedar", False),
    "wrc": ("red_cedar", False),
    "eastern cedar": ("white_cedar", False),
    "white cedar": ("white_cedar", False),
    "eastern white cedar": ("white_cedar", True),
    "redwood": ("redwood", True),
    "oak": ("oak", True),
    "white oak": ("oak", True),
    "teak": ("teak", True),
    "ipe": ("ipe", True),
    "brazilian walnut": ("ipe", False),
    "cumaru": ("cumaru", True),
    "merbau": ("merbau", True),
    "kwila": ("merbau", True),
    "jarrah": ("jarrah", True),
    "spotted gum": ("spotted_gum", True),
    "blackbutt": ("blackbutt", True),
    "thermally modified": ("modified", True),
    "thermo": ("modified", False),
    "heat treated": ("modified", True),
    "acetylated": ("modified", True),
    "hemlock": ("other_softwood", True),
    "softwood": ("other_softwood", True),
    "hardwood": ("other_hardwood", True),
    "mahogany": ("other_hardwood", False),
    "garapa": ("other_hardwood", True),
    "bois traité": ("treated_pine", False),
    "pin traité": ("treated_pine", True),
    "épinette": ("spruce", True),
    "mélèze": ("larch", True),
    "cèdre": ("red_cedar", False),
    "cèdre rouge": ("red_cedar", False),
    "cèdre blanc": ("white_cedar", True),
    "pruche": ("other_softwood", True),
    "chêne": ("oak", True),
}
WORDS_BY_LENGTH = sorted(TIMBER_WORDS, key=len, reverse=True)
NO_TIMBER_WORDS = {"composite", "vinyl", "pvc", "plastic", "concrete"}
DECK_NOUNS = "deck|porch|verandah?|terrasse|patio"  # as a pattern
SIDES_OF_HOUSE = {"back", "front", "side", "rear", "upper", "lower", "main", "north", "south"}
# What belongs to a deck and is not its name.
WITH_PARTS = re.compile(
    r"(?:\+|&|,|\band|\bwith|\bw/)\s*(?:\d+\s*)?(?:stairs?|steps?|rails?|railings?)\b", re.I
)
LIKE_ENOUGH = 84  # of 100 (rapidfuzz, ratio): one slip in a word of six letters


@dataclass(frozen=True, slots=True)
class TimberRead:
    """The species that is likely meant, nothing if none; and whether to ask."""

    species: str
    is_sure: bool


@lru_cache(maxsize=5_000)
def read_timber(text: str) -> TimberRead:
    words = " ".join(re.findall(r"[^\W\d_]+", text.casefold()))
    for left_out in ("decking", "deck", "boards", "wood", "timber", "lumber only"):
        words = words.replace(left_out, "").strip()
    words = " ".join(words.split())
    if words in TIMBER_WORDS:
        return TimberRead(*TIMBER_WORDS[words])
    if len(words) > 3:
        close = process.extractOne(
            words, list(TIMBER_WORDS), scorer=fuzz.ratio, score_cutoff=LIKE_ENOUGH
        )
        if close:
            return TimberRead(TIMBER_WORDS[close[0]][0], False)
    return timber_among_words(words)


def timber_among_words(words: str) -> TimberRead:
    """The longest timber word that stands in the text, asked about; “composite” is none."""
    known = timber_word(words)
    return TimberRead(TIMBER_WORDS[known][0] if known else "", False)


@lru_cache(maxsize=5_000)
def timber_word(label: str) -> str:
    """The word for timber in the name of a deck, “cedar” of “cedar back deck”; nothing if none."""
    words = " ".join(re.findall(r"[^\W\d_]+", label.casefold()))
    if set(words.split()) & NO_TIMBER_WORDS:
        return ""
    known = (each for each in WORDS_BY_LENGTH if re.search(rf"\b{each}\b", words))
    return next(known, "")


@lru_cache(maxsize=5_000)
def deck_name(label: str) -> str:
    """“Back deck” of “back deck 12 x 14 PT”, without size and wood; of wood alone “Cedar deck”, of
    a size nothing."""
    rest = WITH_PARTS.sub(" ", label.casefold())
    wood = timber_word(label)
    rest = rest.replace(size_in_words(label) or "\n", " ")
    rest = re.sub(rf"\b{re.escape(wood)}\b", " ", rest) if wood else rest
    rest = " ".join(re.sub(r"~|≈|[(),;:+&/.]|\b(?:approx|about|abt|ca)\b", " ", rest).split())
    if rest == " ".join(label.casefold().split()) and not rest.isdecimal():
        return label
    if not re.search(r"[^\W\d_]{3,}", rest):
        return f"{wood} deck".capitalize() if wood else ""
    return f"{rest} deck".capitalize() if rest in SIDES_OF_HOUSE else rest.capitalize()


def names_timber(text: str) -> bool:
    return bool(read_timber(text).species)
