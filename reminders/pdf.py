"""Pages on paper: HTML in, PDF bytes out. The only import of WeasyPrint in this app;
nothing is fetched."""

from typing import Any

from django.template.loader import render_to_string

from clients.collecting import without_collecting
from clients.printing import paper_size, pdf_tagging


@without_collecting()
def render_pdf(template: str, context: dict[str, Any], *, country: str) -> bytes:
    from weasyprint import HTML  # 45 MB: loaded by whoever prints
    from weasyprint.urls import URLFetcher

    html = render_to_string(template, {**context, "paper": paper_size(country)})
    page = HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=["data"]))
    written: bytes = page.write_pdf(**pdf_tagging.PDF_OPTIONS)
    return written
