"""HTML in, PDF bytes out.

The PDF is tagged with a document language and title, and all its fonts are embedded (what ISO
14289-1 asks for).
"""

from collections.abc import Mapping
from typing import Any

from django.template.loader import render_to_string

from clients import display
from clients.models import Business
from jobs.models import Photo


def render_paper(
    template: str, context: dict[str, Any], *, business: Business, photos: Mapping[int, Photo]
) -> bytes:
    """The template on the paper of the business's country;
    `photo:///1` in it is the picture of the photo numbered 1."""
    from jobs.pdf.typesetting import typeset_paper

    markup = display.set_page_type(render_to_string(template, context))
    return typeset_paper(markup, business=business, photos=photos)
