"""Pages on paper: HTML in, PDF bytes out. The only import of WeasyPrint in this app; nothing is fetched."""

from typing import Any

from django.template.loader import render_to_string
from weasyprint import HTML
from weasyprint.urls import URLFetcher

from clients.paper import paper


def render_pdf(template: str, context: dict[str, Any], *, country: str) -> bytes:
    html = render_to_string(template, {**context, "paper": paper(country)})
    return HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=["data"])).write_pdf()
