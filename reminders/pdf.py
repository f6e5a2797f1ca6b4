"""Pages on paper: HTML in, PDF bytes out. The only import of WeasyPrint in this app; nothing is fetched."""

from typing import Any

from django.template.loader import render_to_string
from weasyprint import HTML
from weasyprint.urls import URLFetcher

# Countries whose paper is US Letter: Unicode CLDR, supplemental data, paperSize (from memory); all others use A4.
LETTER = {"BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE"}


def paper(country: str) -> str:
    """The CSS name of the paper that this country puts in its printers."""
    return "letter" if country in LETTER else "A4"


def render_pdf(template: str, context: dict[str, Any], *, country: str) -> bytes:
    html = render_to_string(template, {**context, "paper": paper(country)})
    return HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=["data"])).write_pdf()
