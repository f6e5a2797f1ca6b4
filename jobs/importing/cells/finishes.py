"""Products as they are written in a list: name, colour, finish class; which spellings are one."""

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from rapidfuzz import fuzz

from clients.places.spelling import strip_accents

# Colours as tins carry them (common practice, no source); those of the book come on top.
COLOUR_WORDS = {
    *(
        "natural",
        "clear",
        "slate",
        "driftwood",
        "cedar",
        "honey",
        "amber",
        "teak",
        "walnut",
        "grey",
    ),
    *(
        "gray",
        "brown",
        "black",
        "white",
        "redwood",
        "chestnut",
        "mahogany",
        "oak",
        "sand",
        "charcoal",
    ),
    *("teck", "noyer", "gris", "grise", "noir", "noire", "blanc", "blanche", "brun", "brune"),
    *("naturel", "naturelle", "miel", "ambre", "ardoise"),
    *("silver", "golden", "gold", "ebony", "pewter", "straw", "butternut", "rosewood", "cocoa"),
    *(
        "mocha",
        "espresso",
        "bark",
        "fog",
        "stone",
        "rust",
        "red",
        "green",
        "blue",
        "taupe",
        "russet",
    ),
    *(
        "beige",
        "pecan",
        "hickory",
        "maple",
        "cherry",
        "birch",
        "seagrass",
        "sandstone",
        "weathered",
    ),
}
COLOUR_BEGINNINGS = {"dark", "light", "warm", "pale", "deep", "medium"}
# Words of data sheets; the first that is found counts (common practice, no source).
CLASS_WORDS = {
    "solid_film": r"solid|opaque|paint",
    "semitransparent": r"semi\w*|stain|teint\w*",
    "clear_film": r"varnish|polyurethane|urethane|spar|clear ?coat",
    "repellent_preservative": r"preserv\w*|wood ?guard",
    "clear_repellent": (
        r"water ?(?:proof\w*|repel\w*|seal\w*)|repellent|(?:clear|clr) (?:guard|seal\w*)|siloxane|"
        r"\bclear$"
    ),
    "tinted": r"tint\w*|toner|toned",
    "penetrating_oil": r"oil|huil\w*|penetrat\w*",
}
KIND_OF_PRODUCT_WORDS = {
    "stripper": r"stripper|\bstrip$|remover",
    "brightener": r"brighten\w*|oxalic",
    "cleaner": r"cleaner|\bclean$|wash$|percarbonate",
}
# Finishes without a maker, as work is told: the words for them are their name. The first that is
# found counts.
FINISHES_IN_WORK = {
    "Solid stain": r"solid|opaque",
    "Semi-transparent stain": r"semi\b\w*|transparent",
    "Clear sealer": r"clear (?:seal\w*|coat\w*)",
    "Deck stain": r"(?:re-?)?stain\w*|teint\w*",
    "Deck oil": r"(?:re-?)?oil(?:ed|ing|s)?|huil\w*",
}
AMOUNTS = re.compile(
    r"\b\d+(?:[.,]\d+)?\s*(?:x\b|cts?\b|coats?\b|couches?\b|gal\w*|l\b|lit\w+|ml\b|qt\w*)"
    r"|\bx ?\d\b|½ ?gal",
    re.I,
)
BATCH = re.compile(r"\(?\b(?:batch|lot)\b(?: no\.?)?[ #:]*([A-Z]*-?\d[\w/.-]*)\)?", re.I)
SAME_PRODUCT = 86  # of 100 (rapidfuzz, of the words in order): two slips in a name of three words


@dataclass(frozen=True, slots=True)
class FinishRead:
    """A product as one cell has it."""

    name: str
    colour: str = ""
    batch: str = ""


@dataclass
class SpellingGroup:
    """Spellings that are likely one product: its best name, its class and what each spelling is."""

    name: str
    finish_class: str
    kind: str
    spellings: dict[str, int] = field(default_factory=dict)


def read_finish(text: str, colours: Collection[str] = ()) -> FinishRead:
    """“Tidewood oil - slate (2 cts)” → Tidewood oil, Slate. `colours` are those of the book."""
    batch = BATCH.search(text)
    text = AMOUNTS.sub(" ", BATCH.sub(" ", text))
    words = re.findall(r"[^\s,;/()–]+", re.sub(r"\s-\s|-(?=\s)|(?<=\s)-", " , ", text))
    words = [word.strip(".:\"'?") for word in words if word.strip(".:\"'-&+?")]
    at = len(words)
    while at > 1 and is_colour_word(words[at - 1], colours):
        at -= 1
    if at == 1 and [word.casefold() for word in words[1:]] == ["clear"]:
        at = 2  # “Tidewood Clear” is no Tidewood of a colour
    name = words[:at]
    colour = words[at:]
    if len(name) == 1 and colour and name[0].casefold() in {"in", "the"}:
        name = []
    return FinishRead(
        " ".join(name), " ".join(colour).capitalize(), batch[1].strip(".-") if batch else ""
    )


@lru_cache(maxsize=10_000)
def finish_in_work(text: str) -> FinishRead:
    """“stripped & oiled 2 coats walnut” → Deck oil, Walnut; no name where no finish is told."""
    words = text.casefold()
    names = FINISHES_IN_WORK.items()
    name = next((each for each, found in names if re.search(rf"\b(?:{found})\b", words)), "")
    last = re.split(r"[^\w]+", words.strip(" .,;)"))[-1]
    is_a_colour = last in COLOUR_WORDS and last not in {"sand", "clear", "cedar"}
    return FinishRead(name, last.capitalize() if name and is_a_colour else "")


def is_colour_word(word: str, colours: Collection[str] = ()) -> bool:
    """`colours` are those of the book."""
    folded = strip_accents(word).casefold()
    return folded in COLOUR_WORDS or folded in COLOUR_BEGINNINGS or folded in colours


def finish_key(name: str) -> str:
    """What of a name is compared: its words in order of the alphabet."""
    return " ".join(sorted(re.findall(r"\w+", strip_accents(name).casefold())))


def group_spellings(counted: Mapping[str, int], known: Iterable[str] = ()) -> list[SpellingGroup]:
    """Names with how often each occurs → groups, the most frequent spelling in front. `known` are
    the products of the book: a spelling like one of these is that one."""
    groups = [SpellingGroup(name, "", "") for name in known]
    for name, count in sorted(counted.items(), key=spelling_rank):
        group = likest_group(name, groups)
        if group is None:
            group = SpellingGroup(tidy_name(name), finish_class_of(name), product_kind_of(name))
            groups.append(group)
        group.spellings[name] = count
    return [group for group in groups if group.spellings]


def spelling_rank(counted: tuple[str, int]) -> tuple[int, int, str]:
    """The most frequent spelling first, of equals the longer one."""
    name, count = counted
    return -count, -len(name), name


def likest_group(name: str, groups: list[SpellingGroup]) -> SpellingGroup | None:
    scored = [(spelling_score(name, group.name), place) for place, group in enumerate(groups)]
    score, place = max(scored, default=(0.0, 0), key=lambda pair: (pair[0], -pair[1]))
    return groups[place] if score >= SAME_PRODUCT else None


def spelling_score(one: str, other: str) -> float:
    """0 to 100. Words left out count less than words that differ: “Tidewood” alone may be
    “Tidewood deck oil”, but “Tidewood oil” is never “Tidewood clear”."""
    a = finish_key(one)
    b = finish_key(other)
    if not a or not b:
        return 0.0
    straight = fuzz.ratio(a, b)
    fewer, more = sorted((set(a.split()), set(b.split())), key=len)
    is_shortened = fewer <= more and any(len(word) > 4 for word in fewer)
    joined = fuzz.ratio(a.replace(" ", ""), b.replace(" ", ""))
    return max(straight, joined, 90.0 if is_shortened else 0.0)


def tidy_name(name: str) -> str:
    return name if name != name.lower() and name != name.upper() else name.title()


def finish_class_of(name: str) -> str:
    words = name.casefold()
    return next((each for each, found in CLASS_WORDS.items() if re.search(found, words)), "")


def product_kind_of(name: str) -> str:
    """finish, unless the name says otherwise."""
    words = name.casefold().strip()
    found = (each for each, mark in KIND_OF_PRODUCT_WORDS.items() if re.search(mark, words))
    return next(found, "finish")
