"""The lines of an invoice: which are work on a deck, which a product, which only money."""

import re
from dataclasses import dataclass
from decimal import Decimal

from jobs.importing.cells import COLOUR_WORDS, finish_class_of, product_kind_of, read_kind

MONEY_ONLY = re.compile(
    r"^\W*(?:hst|gst|pst|vat|tax|taxes|deposit|payment|paid|balance|interest|tip|e-?transfer)\b",
    re.I,
)
TAX_LINE = re.compile(r"^\W*(?:hst|gst|pst|vat|tax|taxes|deposit|payment|paid|balance)\b", re.I)
PRICE_ONLY = re.compile(
    r"\b(?:travel|mileage|trip|discount|callout|call-out|disposal|materials?|surcharge)\b", re.I
)
OTHER_WORK = re.compile(
    r"\b(?:gutters?|windows?|siding|roof\w*|eaves?|shed|driveway|snow|lawn|hedge|chimney|"
    r"fence|shutters?|patio furniture|house wash)\b",
    re.I,
)
PRODUCT_NOUN = (
    r"(?:oil|stain|sealer|seal|varnish|stripper|cleaner|brightener|guard|finish|coating|semi|solid|"
    r"preserver|preservative|toner)"
)
PRODUCT_LIKE = re.compile(rf"\b[A-Z]\w+(?: \w+)?[ -]{PRODUCT_NOUN}\b|\b\w+ {PRODUCT_NOUN}\b", re.I)
WORK_VERB = re.compile(
    r"\b(?:strip(?:ped|ping)? (?:and|&|\+)|clean(?:ed|ing)? (?:and|&|\+)|re-?coat\w*|re-?oil\w*|"
    r"re-?stain\w*|sand(?:ed|ing)?|supply|apply|applied|labou?r|wash(?:ed|ing) |repair\w*|"
    rf"replac\w*|decks?\b(?! {PRODUCT_NOUN}))",
    re.I,
)
PIECES = re.compile(r"\s*[,;:|]\s+|\s+[-–—]\s+|\s+(?:with|using|in)\s+", re.I)


@dataclass(frozen=True, slots=True)
class InvoiceLine:
    """One line, by what it is."""

    words: str
    kind: str
    is_work: bool
    products: tuple[str, ...]
    counts_for_price: bool
    amount: Decimal | None


def read_invoice_line(words: str, amount: Decimal | None) -> InvoiceLine:
    if MONEY_ONLY.match(words):
        return InvoiceLine(words, "", False, (), False, amount)
    is_other = OTHER_WORK.search(words) is not None and not re.search(r"\bdeck", words, re.I)
    products = () if is_other else product_words(words)
    kind = "" if is_other or (PRICE_ONLY.search(words) and not products) else read_kind(words)
    is_product_only = bool(products) and not WORK_VERB.search(words)
    return InvoiceLine(words, kind, bool(kind) and not is_product_only, products, True, amount)


def product_words(text: str) -> tuple[str, ...]:
    """The pieces of a line that name a product, each with the colour behind it."""
    pieces = [piece for piece in PIECES.split(text) if piece.strip()]
    found: list[str] = []
    for at, piece in enumerate(pieces):
        if not is_product(piece):
            continue
        colour = pieces[at + 1] if at + 1 < len(pieces) and is_colour_piece(pieces[at + 1]) else ""
        found.append(f"{piece}, {colour}" if colour else piece)
    return tuple(found)


def is_product(piece: str) -> bool:
    if WORK_VERB.search(piece) or OTHER_WORK.search(piece) or TAX_LINE.match(piece):
        return False
    if not PRODUCT_LIKE.search(piece) or len(piece.split()) > 7:
        return False
    return bool(finish_class_of(piece)) or product_kind_of(piece) != "finish" or "finish" in piece


def is_colour_piece(piece: str) -> bool:
    words = piece.casefold().split()
    return 0 < len(words) <= 2 and words[-1] in COLOUR_WORDS
