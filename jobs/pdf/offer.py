"""The offer on paper: what, why, for how much, until when, and how to answer."""

from typing import Any

from clients import display
from clients.models import Business
from jobs.models import Offer
from jobs.offers import build_offer_page
from jobs.pdf import rendering

OFFER_PDF_TEMPLATE = "jobs/pdf/offer.html"


def offer_pdf(offer: Offer, *, url: str = "", is_detailed: bool = False) -> bytes:
    """The offer as a tagged PDF, on the paper of the business's country.
    `url` is the link to answer by, if it has one; `is_detailed`: with every line of the price.

    It is dated as it was sent (a draft: as it was drafted), so that it can be made again at any
    time.
    """
    business = Business.objects.get()
    with display.override_business(business), display.in_client_language(offer.language):
        context = offer_pdf_context(offer, business, url) | {"is_detailed": is_detailed}
        photos = {part.photo.pk: part.photo for part in context["page"].decks if part.photo}
        return rendering.render_paper(
            OFFER_PDF_TEMPLATE,
            context,
            business=business,
            photos=photos,
            pointed_at="right-to-cancel",
        )


def offer_pdf_context(offer: Offer, business: Business, url: str) -> dict[str, Any]:
    """What the template is filled with."""
    dated_on = business.today(offer.sent_at) if offer.sent_at else offer.drafted_on
    return {
        "page": build_offer_page(offer, today=dated_on),
        "offer": offer,
        "business": business,
        "url": url,
        "signer": offer.created_by.first_name if offer.created_by else "",
    }
