"""A batch as one PDF: a slip for whoever folds and posts, then the letters, each on its own sheets."""

import hashlib
from datetime import date
from functools import lru_cache

from django.template.loader import render_to_string
from weasyprint import CSS, HTML
from weasyprint.urls import URLFetcher

from clients.letters.batches import Letter
from clients.letters.sheets import Sheet, sheet_of
from clients.models import Business, LetterBatch


@lru_cache(maxsize=2)
def style(sheet: Sheet) -> CSS:
    return CSS(string=render_to_string("clients/letters/paper.css", {"sheet": sheet}))


def batch_pdf(batch: LetterBatch, letters: list[Letter], *, business: Business, today: date, copy: int) -> bytes:
    """Print number `copy`; from the second on each sheet says so. The same letters give the same bytes."""
    sheet = sheet_of(business.country)
    context = {"batch": batch, "letters": letters, "business": business, "today": today, "copy": copy, "sheet": sheet}
    page = HTML(
        string=render_to_string("clients/letters/batch.html", context), url_fetcher=URLFetcher(allowed_protocols=[])
    )
    written: bytes = page.write_pdf(stylesheets=[style(sheet)], pdf_variant="pdf/ua-1", custom_metadata=False)
    return written


def fingerprint(pdf: bytes) -> str:
    return hashlib.sha256(pdf).hexdigest()
