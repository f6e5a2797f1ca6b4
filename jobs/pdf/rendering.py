"""HTML in, PDF bytes out.

The PDF is tagged with a document language and title, and all its fonts are embedded (what ISO
14289-1 asks for).
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.template.loader import render_to_string

from clients import display
from clients.collecting import without_collecting
from clients.models import Business
from jobs.models import Photo

if TYPE_CHECKING:
    from weasyprint.document import Document


@without_collecting()
def render_paper(
    template: str,
    context: dict[str, Any],
    *,
    business: Business,
    photos: Mapping[int, Photo],
    pointed_at: str = "",
) -> bytes:
    """The template on the paper of the business's country;
    `photo:///1` in it is the picture of the photo numbered 1.

    If what bears the id `pointed_at` stands behind the first page, it is set once more with
    `says_page`, to say there where it is: a page number in the text takes twice the time to set,
    and is seldom needed.
    """
    from jobs.pdf.typesetting import stands_behind_front, typeset_paper, write_paper

    def typeset(**more: Any) -> "Document":
        markup = display.set_page_type(render_to_string(template, context | more))
        return typeset_paper(markup, business=business, photos=photos)

    paper = typeset()
    if pointed_at and stands_behind_front(paper, pointed_at):
        paper = typeset(says_page=True)
    return write_paper(paper)
