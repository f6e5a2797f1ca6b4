"""When a client's link to an offer leads to nothing any more;
the people of the business see the offer for good."""

from datetime import date

from clients.messaging.law import add_months
from clients.models import Business
from jobs.models import Booking, Offer


def is_offer_link_expired(offer: Offer, business: Business, *, today: date) -> bool:
    """The months that the owner set are over, counted from `offer_closing_day`."""
    return today >= add_months(offer_closing_day(offer, business), business.answered_link_months)


def offer_closing_day(offer: Offer, business: Business) -> date:
    """Of the answer, or of the visit if that is later;
    of an offer without an answer the last day on which it stood."""
    answered = business.today(offer.answered_at) if offer.answered_at else offer.valid_until
    visit = Booking.objects.filter(offer=offer).exclude(state=Booking.State.CANCELLED).first()
    return max(answered, visit.last_on) if visit else answered
