"""The offer on paper: what, why, for how much, until when, and how to answer."""

from clients import display
from clients.models import Business
from jobs.models import Offer
from jobs.offer_page import offer_page
from jobs.pdf import paper


def offer_pdf(offer: Offer, *, url: str = "") -> bytes:
    """The offer as a tagged PDF, on the paper of the business's country. `url` is the link to answer by, if it has one.

    It is dated as it was sent (a draft: as it was drafted), so that it can be made again at any time.
    """
    business = Business.objects.get()
    dated_on = business.today(offer.sent_at) if offer.sent_at else offer.drafted_on
    page = offer_page(offer, today=dated_on)
    photos = {part.photo.pk: part.photo for part in page.parts if part.photo}
    with display.written_for(business):
        context = {"page": page, "offer": offer, "business": business, "url": url}
        return paper.render("jobs/pdf/offer.html", context, country=business.country, photos=photos)
