"""The only import of WeasyPrint in this app. It takes 45 MB, so it is loaded by whoever prints
first (`rendering.render_paper`), not by every process that could. Nothing is fetched from anywhere.
"""

import re
from base64 import b64decode
from collections.abc import Mapping
from functools import lru_cache
from threading import local

from django.template.loader import render_to_string
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcherResponse

from clients.models import Business
from clients.printing import paper_logo, paper_size, pdf_tagging
from jobs.models import Photo
from jobs.photos import stored_thumbnail

DRAWING_URL = "data:image/svg+xml;base64,"
PHOTO_URL = re.compile(r"photo:///([0-9]+)")
_thread = local()


class PhotoFetcher(paper_logo.LogoFetcher):
    """Hands out the photographs and drawings of this one paper, and the logo."""

    def __init__(self, logo: bytes, photos: Mapping[int, Photo]) -> None:
        super().__init__(logo)
        self.photos = photos

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        if url.startswith(DRAWING_URL):
            markup = b64decode(url.removeprefix(DRAWING_URL))
            return URLFetcherResponse(url, markup, {"Content-Type": "image/svg+xml"})
        found = PHOTO_URL.fullmatch(url)
        if not found or int(found[1]) not in self.photos:
            return super().fetch(url, headers)
        image = stored_thumbnail(self.photos[int(found[1])].image.name or "")
        return URLFetcherResponse(url, image, {"Content-Type": "image/jpeg"})


def font_configuration() -> FontConfiguration:
    """Reading the fonts of the machine takes long; each thread does it once."""
    if not hasattr(_thread, "fonts"):
        _thread.fonts = FontConfiguration()
    return _thread.fonts


@lru_cache(maxsize=4)
def paper_stylesheet(size: str) -> CSS:
    """The sheet of all papers, parsed once for each size of paper."""
    return CSS(string=render_to_string("jobs/pdf/paper.css", {"paper": size}))


def typeset_paper(markup: str, *, business: Business, photos: Mapping[int, Photo]) -> bytes:
    """The markup on the paper of the business's country."""
    page = HTML(string=markup, url_fetcher=PhotoFetcher(business.logo_content, photos))
    written: bytes = page.write_pdf(
        stylesheets=[paper_stylesheet(paper_size(business.country))],
        font_config=font_configuration(),
        **pdf_tagging.PDF_OPTIONS,
    )
    return written
