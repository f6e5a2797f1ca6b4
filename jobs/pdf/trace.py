"""The trace of a batch, a product or a time on paper, for the office and the maker."""

from typing import Any

from clients import display
from clients.models import Business
from jobs.pdf import rendering


def trace_pdf(context: dict[str, Any], *, business: Business) -> bytes:
    """A tagged PDF on the paper of the business's country; `context` is that of the page."""
    with display.override_business(business), display.in_staff_language():
        return rendering.render_paper(
            "jobs/trace_print.html",
            {**context, "business": business},
            business=business,
            photos={},
        )
