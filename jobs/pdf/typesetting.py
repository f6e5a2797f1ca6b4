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
from weasyprint.document import Document
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcherResponse

from clients.models import Business
from clients.printing import paper_logo, paper_size, pdf_tagging
from jobs.models import Photo
from jobs.photos import stored_thumbnail

DRAWING_URL = re.compile(r"data:(image/(?:svg\+xml|png));base64,(.*)")
PHOTO_URL = re.compile(r"photo:///([0-9]+)")
_thread = local()


class PhotoFetcher(paper_logo.LogoFetcher):
    """Hands out the photographs and drawings of this one paper, and the logo."""

    def __init__(self, logo: bytes, photos: Mapping[int, Photo]) -> None:
        super().__init__(logo)
        self.photos = photos

    def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
        if drawing := DRAWING_URL.fullmatch(url):
            kind, content = drawing.groups()
            return URLFetcherResponse(url, b64decode(content), {"Content-Type": kind})
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


def typeset_paper(markup: str, *, business: Business, photos: Mapping[int, Photo]) -> Document:
    """The markup on the paper of the business's country."""
    page = HTML(string=markup, url_fetcher=PhotoFetcher(business.logo_content, photos))
    return page.render(
        stylesheets=[paper_stylesheet(paper_size(business.country))],
        font_config=font_configuration(),
        **pdf_tagging.TAGGED,
    )


def stands_behind_front(paper: Document, name: str) -> bool:
    """Whether what bears this `id` stands on another page than the first."""
    return any(name in page.anchors for page in paper.pages[1:])


def write_paper(paper: Document) -> bytes:
    written: bytes = paper.write_pdf(finisher=pdf_tagging.finish_tags, **pdf_tagging.TAGGED)
    return written
