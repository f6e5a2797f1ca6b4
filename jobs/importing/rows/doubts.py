"""What cannot be told from the list alone, asked once for the whole list: each kind of doubt is one
question with the best guess already chosen."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod
from statistics import median
from typing import Any

from clients.models import Species
from jobs.importing.cells import (
    Calendar,
    area_code_of,
    finish_in_work,
    group_spellings,
    is_surely_a_day,
    lacks_year,
    months_with_numbers,
    needs_area_code,
    order_evidence,
    read_finish,
    read_kind,
    read_timber,
    short_date,
    split_address,
    timber_word,
)
from jobs.importing.guessing import GROUP_HEAD, YEAR_HEAD, unit_of_head
from jobs.importing.rows.facts import BookFacts, ListFacts
from jobs.importing.rows.invoices import product_words
from jobs.importing.rows.product_cells import split_product_cell
from jobs.importing.rows.same_clients import same_client_pairs
from jobs.models import FinishClass, Job

Options = Sequence[tuple[str, Any]]  # value and label
MAX_ENTRIES = 60
METRIC_MEDIAN = 70  # bare sizes whose median is larger are square feet: a deck of 70 m² is rare
NOT_KNOWN = ("", "Not known")
UNIT_OPTIONS = [("m2", "Square metres"), ("ft2", "Square feet")]


@dataclass(frozen=True)
class DoubtEntry:
    """One line of a question: what it is about, how often it occurs, the answers and the guess."""

    key: str
    label: str
    count: int
    options: Options
    preset: str
    score: int | None = None  # of 100, where likeness decides


@dataclass(frozen=True)
class Doubt:
    """One question."""

    key: str
    question: str
    why: str
    entries: Sequence[DoubtEntry]

    @property
    def count(self) -> int:
        return sum(entry.count for entry in self.entries)


@dataclass
class Answers:
    """The guess at each doubt, with what a person decided in its place."""

    values: dict[str, dict[str, str]] = field(default_factory=dict)

    @classmethod
    def of(cls, doubts: Sequence[Doubt], decisions: Mapping[str, Mapping[str, str]]) -> "Answers":
        found = {key: dict(given) for key, given in decisions.items()}
        for doubt in doubts:
            answers = found.setdefault(doubt.key, {})
            for entry in doubt.entries:
                answers.setdefault(entry.key, entry.preset)
        return cls(found)

    def get(self, doubt: str, key: str = "", default: str = "") -> str:
        return self.values.get(doubt, {}).get(key, default)


def find_doubts(
    facts: ListFacts, book: BookFacts, decisions: Mapping[str, Mapping[str, str]]
) -> list[Doubt]:
    """In the order in which they are asked. Which products are one is decided before their kinds
    are asked, so that decisions already taken change what is asked next."""
    doubts = [
        *day_order_doubt(facts, book),
        *bare_number_doubt(facts, book),
        *size_unit_doubt(facts, book),
        *area_code_doubt(facts, book),
        *town_doubt(facts, book),
        *kind_doubt(facts),
        *timber_doubt(facts),
        *spelling_doubt(facts, book),
    ]
    chosen = Answers.of(doubts, decisions)
    doubts += class_doubt(facts, book, chosen)
    doubts += same_client_doubt(facts)
    return doubts


def day_order_doubt(facts: ListFacts, book: BookFacts) -> Iterator[Doubt]:
    """Asked only where some days could be read in both ways."""
    seen: Counter[str] = Counter()
    for text, count in facts.counted("done", "notes").items():
        seen[order_evidence(text)] += count
    if not seen["either"]:
        return
    is_month = seen["month"] > seen["day"] or (
        not seen["month"] and not seen["day"] and book.country == "US"
    )
    example = next(
        text for text in facts.counted("done", "notes") if order_evidence(text) == "either"
    )
    options = [("day", "The day first"), ("month", "The month first")]
    told = seen["month"] + seen["day"]
    yield Doubt(
        "day_order",
        f"Which comes first in a date such as {short_date(example)}?",
        f"{told} other date{'s' * (told > 1)} of the list can be read in one way only."
        if told
        else "",
        [DoubtEntry("", "Dates", seen["either"], options, "month" if is_month else "day")],
    )


def bare_number_doubt(facts: ListFacts, book: BookFacts) -> Iterator[Doubt]:
    """Whether “May 12” is a day or a month of 2012; not asked where a heading tells the year."""
    if any(facts.heads[at] == YEAR_HEAD for at in facts.columns("done")):
        return
    bare = [(text, count) for text, count in facts.counted("done").items() if lacks_year(text)]
    bare += [
        (piece, count)
        for text, count in facts.counted("notes").items()
        for piece in months_with_numbers(text)
        if read_kind(text)
    ]
    numbered = [(text, count) for text, count in bare if re.search(r"\d\d", text)]
    if not numbered:
        return
    is_day = any(is_surely_a_day(text, book.today) for text, _ in bare)
    options = [("year", "The year"), ("day", "The day; the year is missing")]
    rows = sum(count for _, count in numbered)
    yield Doubt(
        "bare_number",
        f"What is the number in a date such as {numbered[0][0]}?",
        "",
        [DoubtEntry("", "Dates", rows, options, "day" if is_day else "year")],
    )


def size_unit_doubt(facts: ListFacts, book: BookFacts) -> Iterator[Doubt]:
    """What sizes without a unit are in."""
    bare: list[float] = []
    written: Counter[str] = Counter()
    for at in facts.columns("area"):
        if unit_of_head(facts.heads[at]):
            continue
        for text, count in facts.counts.get(at, Counter()).items():
            unit = unit_of_head(text)
            written[unit] += count
            size = bare_size(text)
            if size and not unit:
                bare += [size] * count
            written["ft2"] += "'" in text
    if bare:
        is_feet = median(bare) > METRIC_MEDIAN or (
            median(bare) > METRIC_MEDIAN / 2 and written["ft2"] > written["m2"]
        )
        preset = "ft2" if is_feet else "m2"
        yield Doubt(
            "size_unit",
            "What are sizes without a unit in?",
            f"Half of them are above {median(bare):g}.",
            [DoubtEntry("", "Sizes", len(bare), UNIT_OPTIONS, preset)],
        )


def bare_size(text: str) -> float:
    """A number without a unit, or the product of two sides; 0 for anything else."""
    if "'" in text or not re.fullmatch(
        r"[^\dx]{0,8}[\d. ]+(?:x[\d. ]+)?[^\d]{0,3}", text.casefold()
    ):
        return 0.0
    numbers = [float(each) for each in re.findall(r"\d+(?:\.\d+)?", text)]
    return prod(numbers) if numbers else 0.0


def area_code_doubt(facts: ListFacts, book: BookFacts) -> Iterator[Doubt]:
    """The area code of numbers that were written without one."""
    phones = facts.counted("phone", "mobile")
    short = sum(
        count
        for text, count in phones.items()
        if any(needs_area_code(part, book.country) for part in re.split(r"[,;/&]", text))
    )
    if not short:
        return
    codes = Counter(code for text in phones.elements() if (code := area_code_of(text)))
    ranked = [code for code, _ in codes.most_common(6)]
    if book.area_code and book.area_code not in ranked:
        ranked.append(book.area_code)
    if not ranked:
        return
    yield Doubt(
        "area_code",
        "Which area code do numbers without one have?",
        "",
        [DoubtEntry("", "Numbers", short, [(code, code) for code in ranked], ranked[0])],
    )


def town_doubt(facts: ListFacts, book: BookFacts) -> Iterator[Doubt]:
    """Hamlets that the table of towns does not have, and rows that name no town."""
    entries = []
    towns = written_towns(facts, book)
    missing = towns.pop("", 0)
    found = filter(None, (book.gazetteer.find(name) for name, _ in towns.most_common()))
    usual = next(found, None)
    gazetteer = book.gazetteer.seen_from(usual) if usual else book.gazetteer
    for name, count in towns.most_common():
        if gazetteer.find(name):
            continue
        near = gazetteer.likest(name)
        options = [*((str(town.pk), str(town)) for town in near), ("", "At our own address")]
        entries.append(DoubtEntry(name, name, count, options, options[0][0]))
    if missing:
        known = [
            book.gazetteer.find(name) for name in [book.town, *(n for n, _ in towns.most_common(8))]
        ]
        options = list({str(town.pk): (str(town.pk), str(town)) for town in known if town}.values())
        options = options or [("", "At our own address")]
        entries.append(DoubtEntry("", "No town written", missing, options, options[0][0]))
    if entries:
        yield Doubt(
            "towns",
            "Which town that we know is nearest?",
            "The name stays as it is written; the weather is taken from the town chosen.",
            entries[:MAX_ENTRIES],
        )


def written_towns(facts: ListFacts, book: BookFacts) -> Counter[str]:
    """Towns of their own column or inside whole addresses, as written; "" for none."""
    found: Counter[str] = Counter()
    columns = facts.columns("town")
    for at in columns:
        for text, count in facts.counts.get(at, Counter()).items():
            found[text.partition(",")[0].strip()] += count
    has_town_column = bool(columns) and not all(facts.heads[at] == GROUP_HEAD for at in columns)
    if columns and not facts.columns("address"):
        return found
    if not has_town_column:
        found.pop("", None)
        for text, count in facts.counted("address", "street").items():
            parts = split_address(
                text,
                country=book.country,
                regions=book.gazetteer.regions,
                is_town=book.gazetteer.is_town,
            )
            if parts.town or not columns:
                found[parts.town] += count
    return found


def kind_doubt(facts: ListFacts) -> Iterator[Doubt]:
    """Which of the jobs were strips, where the list does not say it in words of the trade."""
    options = list(Job.Kind.choices)
    kinds = facts.counted("kind")
    entries = [
        DoubtEntry(text, text, count, options, "recoat")
        for text, count in kinds.most_common()
        if not read_kind(text)
    ][:MAX_ENTRIES]
    dated = sum(count for text, count in dates_of_rows(facts).items() if not read_kind(text))
    untold = dated - sum(kinds.values()) if not facts.columns("item") else 0
    if untold > 0:
        entries.append(DoubtEntry("", "Nothing written", untold, options, "recoat"))
    if entries:
        yield Doubt(
            "kinds",
            "What was done where the list does not say?",
            "Where a note speaks of a strip or a coat, that is taken.",
            entries,
        )


def dates_of_rows(facts: ListFacts) -> Counter[str]:
    """Without the year that heads them, where rows have a date of their own."""
    columns = facts.columns("done")
    own = [at for at in columns if facts.heads[at] != YEAR_HEAD]
    found: Counter[str] = Counter()
    for at in own or columns:
        found.update(facts.counts.get(at, Counter()))
    found.pop("", None)
    return found


def timber_doubt(facts: ListFacts) -> Iterator[Doubt]:
    """Words for timber that could mean several; where no column tells the timber, those in the
    names of decks."""
    options = list(Species.choices)
    entries = []
    for text, count in timber_texts(facts).most_common():
        found = read_timber(text)
        if not found.is_sure:
            entries.append(DoubtEntry(text, text, count, options, found.species or Species.UNKNOWN))
    if entries:
        yield Doubt("timber", "What wood do these words mean?", "", entries[:MAX_ENTRIES])


def timber_texts(facts: ListFacts) -> Counter[str]:
    if facts.columns("species"):
        return facts.counted("species")
    found: Counter[str] = Counter()
    for label, count in facts.counted("deck").items():
        if word := timber_word(label):
            found[word] += count
    return found


def finish_names(facts: ListFacts, book: BookFacts) -> Counter[str]:
    """Names of products as they are written, without colours and amounts."""
    found: Counter[str] = Counter()
    for name, count in written_finishes(facts, book):
        if name:
            found[name] += count
    return found


def written_finishes(facts: ListFacts, book: BookFacts) -> Iterator[tuple[str, int]]:
    """Of the column of products, else of the words for the work; and of invoice lines."""
    for text, count in facts.counted("product").items():
        product = split_product_cell(text, Calendar(book.today, True), book.colours).product
        yield read_finish(product, book.colours).name, count
    if not facts.columns("product"):
        for text, count in facts.counted("kind").items():
            yield finish_in_work(text).name if lays_a_coat(text) else "", count
    for text, count in facts.counted("item").items():
        for words in product_words(text):
            yield read_finish(words, book.colours).name, count


def lays_a_coat(text: str) -> bool:
    return read_kind(text) in {Job.Kind.STRIP, Job.Kind.RECOAT}


def spelling_doubt(facts: ListFacts, book: BookFacts) -> Iterator[Doubt]:
    """Spellings that are likely one product."""
    names = finish_names(facts, book)
    groups = group_spellings(names, [product.name for product in book.products])
    choices = [(group.name, group.name) for group in groups]
    folded: dict[str, tuple[str, int, str]] = {}
    for group in groups:
        for name, count in group.spellings.items():
            key = finish_key_of(name)
            before = folded.get(key, (name, 0, group.name))
            folded[key] = (before[0], before[1] + count, before[2])
    entries = [
        DoubtEntry(key, name, count, spelling_options(name, choices), group_name)
        for key, (name, count, group_name) in folded.items()
        if key != finish_key_of(group_name)
    ]
    if entries:
        yield Doubt(
            "products",
            f"{len(folded)} spellings, {len(groups)} products?",
            "Each spelling becomes the product chosen.",
            entries[:MAX_ENTRIES],
        )


def spelling_options(name: str, choices: Options) -> Options:
    """All products, and the spelling as a product of its own."""
    return [*choices, (name, f"{name}, a product of its own")]


def finish_key_of(name: str) -> str:
    """The key of a spelling among the answers: capitals and blanks do not count."""
    return " ".join(name.casefold().split())


def class_doubt(facts: ListFacts, book: BookFacts, answers: Answers) -> Iterator[Doubt]:
    """What kind of finish each product that is new to the book is: it decides how it wears."""
    names = finish_names(facts, book)
    groups = {
        group.name: group for group in group_spellings(names, [p.name for p in book.products])
    }
    counted: Counter[str] = Counter()
    for group in groups.values():
        for name, count in group.spellings.items():
            counted[answers.get("products", finish_key_of(name)) or group.name] += count
    entries = []
    for name, count in counted.most_common():
        found = groups.get(name)
        if book.product(name) or (found and found.kind not in {"", "finish"}):
            continue
        preset = found.finish_class if found else ""
        entries.append(DoubtEntry(name, name, count, [NOT_KNOWN, *FinishClass.choices], preset))
    if entries:
        yield Doubt(
            "classes",
            "What kind of finish is each of these?",
            "It decides how long a coat lasts. Not known is fine: the forecast is wider then.",
            entries[:MAX_ENTRIES],
        )


def same_client_doubt(facts: ListFacts) -> Iterator[Doubt]:
    """Two clients that may be one, with how much alike they are."""
    options = [("same", "One client"), ("different", "Two clients")]
    entries = [
        DoubtEntry(pair.key, pair.label, 1, options, pair.preset, pair.score)
        for pair in same_client_pairs(facts.clients)
    ]
    if entries:
        yield Doubt("same", "Are these one client?", "", entries[:MAX_ENTRIES])
