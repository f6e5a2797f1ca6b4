"""A batch as one PDF: a slip for whoever folds and posts, then the letters, each with its enclosures behind it.

Printed on both sides of the paper, the slip, each letter and each enclosure begin on a sheet of their own: where one
ends on a front, an empty side follows in its size, and says so.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from django.template.loader import render_to_string
from pypdf import PdfReader
from weasyprint import CSS, HTML
from weasyprint.urls import URLFetcher

from clients import display
from clients.messaging.channels.letters import enclosures
from clients.messaging.channels.letters.batches import Letter
from clients.messaging.channels.letters.enclosures import Enclosure
from clients.messaging.channels.letters.merging import Merged
from clients.messaging.channels.letters.sheets import Sheet, sheet_of
from clients.messaging.models import LetterBatch
from clients.messaging.texts import standard
from clients.models import Business
from clients.printing import tagging


@dataclass(frozen=True)
class Piece:
    """The slip or a letter: its pages in the batch before anything is put in, and what goes behind them."""

    pages: range
    language: str
    behind: list[PdfReader]


@lru_cache(maxsize=2)
def style(sheet: Sheet) -> CSS:
    return CSS(string=render_to_string("clients/letters/paper.css", {"sheet": sheet}))


def batch_pdf(
    batch: LetterBatch, letters: list[Letter], *, business: Business, today: date, copy: int, both_sides: bool
) -> bytes:
    """Print number `copy`; from the second on each letter says so. The same letters give the same bytes.

    What is wrong with an enclosure stands in its `why_apart` afterwards, and on the slip.
    """
    every = [each for letter in letters for each in letter.enclosures]
    enclosures.open_all(every)
    context = {"batch": batch, "letters": letters, "business": business, "today": today, "copy": copy,
               "sheet": sheet_of(business.country), "both_sides": both_sides}  # fmt: skip
    pdf, pieces = written(context)
    try:
        return put_together(pdf, pieces, both_sides=both_sides)
    except Exception:  # what comes from elsewhere can be wrong in any way: find out which it was, and print the rest
        if not leave_out_broken(pdf, pieces, every):
            raise
    return put_together(*written(context), both_sides=both_sides)


def leave_out_broken(pdf: bytes, pieces: list[Piece], every: list[Enclosure]) -> bool:
    """Whether one of them cannot be put into a PDF; it says so from now on."""
    broken = [each for each in every if each.is_printed and not can_be_put_in(pdf, pieces[0].pages, each)]
    for each in broken:
        each.why_apart = enclosures.BROKEN
    return bool(broken)


def can_be_put_in(pdf: bytes, pages: range, enclosure: Enclosure) -> bool:
    try:
        merged = Merged(pdf)
        merged.put_in(enclosure.opened_anew(), 0, behind=merged.last_of(pages))
        return bool(merged.written())
    except Exception:  # as above
        return False


def put_together(pdf: bytes, pieces: list[Piece], *, both_sides: bool) -> bytes:
    merged, at = Merged(pdf), 0
    for piece in pieces:
        behind = merged.last_of(piece.pages)
        at = closed(merged, at + len(piece.pages), piece.language, both_sides)
        for reader in piece.behind:
            behind = merged.put_in(reader, at, behind=behind)
            at = closed(merged, at + len(reader.pages), piece.language, both_sides)
    return merged.written()


def closed(merged: Merged, at: int, language: str, both_sides: bool) -> int:
    """Where the next sheet begins: here, or behind an empty side."""
    if not both_sides or at % 2 == 0:
        return at
    box = merged.writer.pages[at - 1].mediabox
    merged.put_empty(empty_side(round(float(box.width), 2), round(float(box.height), 2), language), at)
    return at + 1


def written(context: dict[str, Any]) -> tuple[bytes, list[Piece]]:
    """Slip and letters without enclosures, and on which pages each of them stands."""
    apart = [(letter, each) for letter in context["letters"] for each in letter.enclosures if not each.is_printed]
    dated = [(letter, day_for(letter, context["today"])) for letter in context["letters"]]
    text = render_to_string("clients/letters/batch.html", {**context, "apart": apart, "dated": dated})
    document = HTML(string=text, url_fetcher=URLFetcher(allowed_protocols=[])).render(
        stylesheets=[style(context["sheet"])], **tagging.OPTIONS
    )
    starts = first_pages(document.pages)
    ends = [*starts[1:], len(document.pages)]
    pieces = [Piece(range(starts[0]), "en", [])]
    for letter, start, end in zip(context["letters"], starts, ends, strict=True):
        behind = [each.reader for each in letter.enclosures if each.is_printed and each.reader]
        pieces.append(Piece(range(start, end), letter.message.language, behind))
    languages = {number: piece.language for piece in pieces[1:] for number in piece.pages}
    pdf: bytes = document.write_pdf(**tagging.options(languages))
    return pdf, pieces


def day_for(letter: Letter, today: date) -> str:
    """The day on the letter as its reader writes it."""
    with display.for_client(letter.message.language):
        return display.day(today)


def first_pages(pages: Sequence[Any]) -> list[int]:
    """Of each letter, from 0; a page knows the letters that stand on it by their anchors."""
    found: dict[str, int] = {}
    for number, page in enumerate(pages):
        for anchor in page.anchors:
            if anchor.startswith("letter-"):
                found.setdefault(anchor, number)
    return list(found.values())


@lru_cache(maxsize=16)
def empty_side(width: float, height: float, language: str) -> bytes:
    """One page that says that it is empty; points."""
    context = {"width": width, "height": height, "words": standard.word(language, "empty_side"), "language": language}
    page = HTML(string=render_to_string("clients/letters/empty_side.html", context))
    written: bytes = page.write_pdf(**tagging.options())
    return written


def test_sheet(business: Business) -> bytes:
    """One page to print, fold and put into an envelope: the address at its longest, and the window drawn around it."""
    sheet = sheet_of(business.country)
    lines = [f"Line {number} of {sheet.most_lines} of an address" for number in range(1, sheet.most_lines + 1)]
    context = {"sheet": sheet, "business": business, "lines": lines, "is_metric": sheet.size == "A4"}
    page = HTML(string=render_to_string("clients/letters/test_sheet.html", context))
    written: bytes = page.write_pdf(stylesheets=[style(sheet)], **tagging.options())
    return written


def fingerprint(pdf: bytes) -> str:
    return hashlib.sha256(pdf).hexdigest()
