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
from io import BytesIO
from typing import Any

from django.template.loader import render_to_string
from pypdf import PageObject, PdfReader, PdfWriter
from weasyprint import CSS, HTML

from clients import display
from clients.collecting import without_collecting
from clients.messaging.channels.letters import enclosures
from clients.messaging.channels.letters.batches import Letter
from clients.messaging.channels.letters.enclosures import Enclosure
from clients.messaging.channels.letters.sheets import Sheet, sheet_for_country
from clients.messaging.models import LetterBatch
from clients.messaging.texts import standard
from clients.models import Business
from clients.printing import paper_logo, pdf_tagging


@dataclass(frozen=True)
class BatchSection:
    """The slip or a letter: its pages in the batch before anything is put in, and its
    enclosures."""

    pages: range
    language: str
    enclosures: list[PdfReader]


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
    pdf, sections = render_batch(context)
    try:
        return assemble_pdf(pdf, sections, both_sides=both_sides)
    # what comes from elsewhere can be wrong in any way: find out which it was, and print the rest
    except Exception:
        if not exclude_broken(every):
            raise
    return assemble_pdf(*render_batch(context), both_sides=both_sides)


def exclude_broken(every: list[Enclosure]) -> bool:
    """Whether one of them cannot be put into a PDF; it says so from now on."""
    broken = [
        each for each in every if each.reader and each.is_printed and not can_be_copied(each.reader)
    ]
    for each in broken:
        each.why_apart = enclosures.UNREADABLE_PDF
    return bool(broken)


def can_be_copied(reader: PdfReader) -> bool:
    try:
        copy = PdfWriter()
        copy.append_pages_from_reader(reader)
        copy.write(BytesIO())
    except Exception:  # as above
        return False
    return True


def assemble_pdf(pdf: bytes, sections: list[BatchSection], *, both_sides: bool) -> bytes:
    """Each section with its enclosures behind it, as pages to print: without tags."""
    own = PdfReader(BytesIO(pdf))
    merged = PdfWriter()
    merged.metadata = own.metadata
    empty: dict[bytes, PdfReader] = {}  # pypdf knows readers by their place in memory
    for section in sections:
        letter = own.pages[section.pages.start : section.pages.stop]
        for part in [letter, *(reader.pages for reader in section.enclosures)]:
            for page in part:
                merged.add_page(page)
            if both_sides and len(merged.pages) % 2:
                side = render_empty_side(*page_size(merged.pages[-1]), section.language)
                merged.add_page(empty.setdefault(side, PdfReader(BytesIO(side))).pages[0])
    target = BytesIO()
    merged.write(target)
    return target.getvalue()


def page_size(page: PageObject) -> tuple[float, float]:
    """Width and height, points."""
    return round(float(page.mediabox.width), 2), round(float(page.mediabox.height), 2)


@without_collecting()
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
    document = HTML(
        string=text, url_fetcher=paper_logo.LogoFetcher(context["business"].logo_content)
    ).render(stylesheets=[letter_stylesheet(context["sheet"])])
    starts = letter_start_pages(document.pages)
    ends = [*starts[1:], len(document.pages)]
    sections = [BatchSection(range(starts[0]), "en", [])]
    for letter, start, end in zip(context["letters"], starts, ends, strict=True):
        printed = [each.reader for each in letter.enclosures if each.reader and each.is_printed]
        sections.append(BatchSection(range(start, end), letter.message.language, printed))
    pdf: bytes = document.write_pdf()
    return pdf, sections


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
    written: bytes = page.write_pdf()
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
    page = HTML(
        string=render_to_string("clients/letters/test_sheet.html", context),
        url_fetcher=paper_logo.LogoFetcher(business.logo_content),
    )
    written: bytes = page.write_pdf(
        stylesheets=[letter_stylesheet(sheet)], **pdf_tagging.PDF_OPTIONS
    )
    return written


def pdf_fingerprint(pdf: bytes) -> str:
    return hashlib.sha256(pdf).hexdigest()
