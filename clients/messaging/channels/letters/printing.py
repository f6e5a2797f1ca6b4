"""A batch as one PDF: a slip for whoever folds and posts, then the letters, each with its
enclosures behind it.

Printed on both sides of the paper, the slip, each letter and each enclosure begin on a sheet of
their own: where one ends on a front, an empty side follows in its size, and says so.
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
from clients.messaging.channels.letters.merging import TaggedPdfMerger
from clients.messaging.channels.letters.sheets import Sheet, sheet_for_country
from clients.messaging.models import LetterBatch
from clients.messaging.texts import standard
from clients.models import Business
from clients.printing import pdf_tagging


@dataclass(frozen=True)
class BatchSection:
    """The slip or a letter: its pages in the batch before anything is put in, and what goes behind
    them."""

    pages: range
    language: str
    behind: list[PdfReader]


@lru_cache(maxsize=2)
def letter_stylesheet(sheet: Sheet) -> CSS:
    return CSS(string=render_to_string("clients/letters/paper.css", {"sheet": sheet}))


def batch_pdf(
    batch: LetterBatch,
    letters: list[Letter],
    *,
    business: Business,
    today: date,
    copy: int,
    both_sides: bool,
) -> bytes:
    """Print number `copy`; from the second on each letter says so.
    The same letters give the same bytes.

    What is wrong with an enclosure stands in its `why_apart` afterwards, and on the slip.
    """
    every = [each for letter in letters for each in letter.enclosures]
    enclosures.open_enclosures(every)
    context = {
        "batch": batch,
        "letters": letters,
        "business": business,
        "today": today,
        "copy": copy,
        "sheet": sheet_for_country(business.country),
        "both_sides": both_sides,
    }
    pdf, pieces = render_batch(context)
    try:
        return assemble_pdf(pdf, pieces, both_sides=both_sides)
    # what comes from elsewhere can be wrong in any way: find out which it was, and print the rest
    except Exception:
        if not exclude_broken(pdf, pieces, every):
            raise
    return assemble_pdf(*render_batch(context), both_sides=both_sides)


def exclude_broken(pdf: bytes, pieces: list[BatchSection], every: list[Enclosure]) -> bool:
    """Whether one of them cannot be put into a PDF; it says so from now on."""
    broken = [
        each
        for each in every
        if each.is_printed and not can_be_inserted(pdf, pieces[0].pages, each)
    ]
    for each in broken:
        each.why_apart = enclosures.UNREADABLE_PDF
    return bool(broken)


def can_be_inserted(pdf: bytes, pages: range, enclosure: Enclosure) -> bool:
    try:
        merged = TaggedPdfMerger(pdf)
        merged.insert_pdf(enclosure.reopen(), 0, behind=merged.last_element_on(pages))
        return bool(merged.to_bytes())
    except Exception:  # as above
        return False


def assemble_pdf(pdf: bytes, pieces: list[BatchSection], *, both_sides: bool) -> bytes:
    merged = TaggedPdfMerger(pdf)
    at = 0
    for piece in pieces:
        behind = merged.last_element_on(piece.pages)
        at = next_sheet_start(merged, at + len(piece.pages), piece.language, both_sides)
        for reader in piece.behind:
            behind = merged.insert_pdf(reader, at, behind=behind)
            at = next_sheet_start(merged, at + len(reader.pages), piece.language, both_sides)
    return merged.to_bytes()


def next_sheet_start(merged: TaggedPdfMerger, at: int, language: str, both_sides: bool) -> int:
    """Where the next sheet begins: here, or behind an empty side."""
    if not both_sides or at % 2 == 0:
        return at
    box = merged.writer.pages[at - 1].mediabox
    merged.insert_empty_side(
        render_empty_side(round(float(box.width), 2), round(float(box.height), 2), language), at
    )
    return at + 1


def render_batch(context: dict[str, Any]) -> tuple[bytes, list[BatchSection]]:
    """Slip and letters without enclosures, and on which pages each of them stands."""
    apart = [
        (letter, each)
        for letter in context["letters"]
        for each in letter.enclosures
        if not each.is_printed
    ]
    dated = [(letter, letter_date(letter, context["today"])) for letter in context["letters"]]
    text = render_to_string(
        "clients/letters/batch.html", {**context, "apart": apart, "dated": dated}
    )
    document = HTML(string=text, url_fetcher=URLFetcher(allowed_protocols=[])).render(
        stylesheets=[letter_stylesheet(context["sheet"])], **pdf_tagging.PDF_OPTIONS
    )
    starts = letter_start_pages(document.pages)
    ends = [*starts[1:], len(document.pages)]
    pieces = [BatchSection(range(starts[0]), "en", [])]
    for letter, start, end in zip(context["letters"], starts, ends, strict=True):
        behind = [each.reader for each in letter.enclosures if each.is_printed and each.reader]
        pieces.append(BatchSection(range(start, end), letter.message.language, behind))
    languages = {number: piece.language for piece in pieces[1:] for number in piece.pages}
    pdf: bytes = document.write_pdf(**pdf_tagging.pdf_options(languages))
    return pdf, pieces


def letter_date(letter: Letter, today: date) -> str:
    """The day on the letter as its reader writes it."""
    with display.in_client_language(letter.message.language):
        return display.format_day(today)


def letter_start_pages(pages: Sequence[Any]) -> list[int]:
    """Of each letter, from 0; a page knows the letters that stand on it by their anchors."""
    found: dict[str, int] = {}
    for number, page in enumerate(pages):
        for anchor in page.anchors:
            if anchor.startswith("letter-"):
                found.setdefault(anchor, number)
    return list(found.values())


@lru_cache(maxsize=16)
def render_empty_side(width: float, height: float, language: str) -> bytes:
    """One page that says that it is empty; points."""
    context = {
        "width": width,
        "height": height,
        "words": standard.standard_phrase(language, "empty_side"),
        "language": language,
    }
    page = HTML(string=render_to_string("clients/letters/empty_side.html", context))
    written: bytes = page.write_pdf(**pdf_tagging.pdf_options())
    return written


def render_window_test(business: Business) -> bytes:
    """One page to print, fold and put into an envelope:
    the address at its longest, and the window drawn around it."""
    sheet = sheet_for_country(business.country)
    lines = [
        f"Line {number} of {sheet.max_lines} of an address"
        for number in range(1, sheet.max_lines + 1)
    ]
    context = {
        "sheet": sheet,
        "business": business,
        "lines": lines,
        "is_metric": sheet.size == "A4",
    }
    page = HTML(string=render_to_string("clients/letters/test_sheet.html", context))
    written: bytes = page.write_pdf(
        stylesheets=[letter_stylesheet(sheet)], **pdf_tagging.pdf_options()
    )
    return written


def pdf_fingerprint(pdf: bytes) -> str:
    return hashlib.sha256(pdf).hexdigest()
