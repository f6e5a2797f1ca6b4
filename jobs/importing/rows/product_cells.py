"""What a cell says of a product, and what else stands in it."""

import re
from collections.abc import Collection
from functools import lru_cache
from typing import NamedTuple

from jobs.importing.cells import (
    AMOUNTS,
    PLANS,
    Calendar,
    finish_class_of,
    is_colour_word,
    read_past_work,
)

FEW_WORDS = 5  # as many are a name with its colour
FEW_OF_A_KIND = 3
PART = re.compile(r"[,;\n(]|\s[-–]\s|(?=[$€£])")


class ProductCell(NamedTuple):
    """The words for the product with colour and amounts, and the whole cell where it says more;
    either may be empty."""

    product: str
    note: str


@lru_cache(maxsize=10_000)
def split_product_cell(text: str, calendar: Calendar, colours: Collection[str] = ()) -> ProductCell:
    """“Tidewood Clear 2 coats, gate code on file” → “Tidewood Clear 2 coats” and the whole as a
    note; work with its date, or what is only planned, names no product."""
    if read_past_work(text, calendar) or (PLANS.search(text) and not finish_class_of(text)):
        return ProductCell("", text)
    first, *others = PART.split(text)
    more = [part for part in others if says_more(part, colours)]
    if not more or (len(text.split()) <= FEW_WORDS and not re.search(r"[$€£(]", text)):
        return ProductCell(text, "")
    kept = [part for part in others if part not in more]
    return ProductCell(", ".join([first.strip(), *kept]), text)


def says_more(part: str, colours: Collection[str]) -> bool:
    """Money, or words that are neither a colour nor an amount."""
    if re.search(r"[$€£]", part):
        return True
    words = re.findall(r"[^\W\d_]+", AMOUNTS.sub(" ", part))
    if len(words) <= FEW_OF_A_KIND and finish_class_of(part):
        return False  # “(oil-based)” is of the product
    return any(not is_colour_word(word, colours) for word in words) and (
        len(words) > 1 or ")" in part
    )
