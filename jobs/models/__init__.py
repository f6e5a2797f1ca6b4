"""The rows of the jobs app: products, visits, jobs and coats, photographs;
prices, offers and the diary."""

from jobs.models.coat import Coat
from jobs.models.diary import Booking, BookingDay, Crew, CrewDay, DayOff, SignOff
from jobs.models.job import CoatApplied, Job, Photo
from jobs.models.offer import Offer, OfferLine, OfferScope, OfferTax
from jobs.models.offer_event import OfferEvent
from jobs.models.price import Pack, PriceList, Rate, StockTin, Tax, TravelZone
from jobs.models.product import Batch, Product
from jobs.models.search import SearchEntry, SearchWord
from jobs.models.visit import Visit

__all__ = [
    "Batch",
    "Booking",
    "BookingDay",
    "Coat",
    "CoatApplied",
    "Crew",
    "CrewDay",
    "DayOff",
    "Job",
    "Offer",
    "OfferEvent",
    "OfferLine",
    "OfferScope",
    "OfferTax",
    "Pack",
    "Photo",
    "PriceList",
    "Product",
    "Rate",
    "SearchEntry",
    "SearchWord",
    "SignOff",
    "StockTin",
    "Tax",
    "TravelZone",
    "Visit",
]
