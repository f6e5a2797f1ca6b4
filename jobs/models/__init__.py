"""The rows of the jobs app: products, visits, jobs and coats, photographs;
prices, offers and the diary."""

from jobs.models.coat import Coat
from jobs.models.colour_approval import ColourApproval
from jobs.models.diary import Booking, BookingDay, Crew, CrewDay, DayOff, SignOff
from jobs.models.document import Document
from jobs.models.expected_weather import ExpectedWeather, WeatherPosition, weather_position
from jobs.models.grade_example import GradeExample
from jobs.models.job import (
    STRIP_ABOVE_COATS,
    AppliedFinish,
    CoatApplied,
    CoatAppliedQuerySet,
    Job,
    LastUsed,
    Photo,
)
from jobs.models.list_import import ImportRow, ListImport
from jobs.models.offer import Offer, OfferLine, OfferQuerySet, OfferScope, OfferTax
from jobs.models.offer_event import OfferEvent
from jobs.models.offer_terms import RIGHT_TO_CANCEL, TERM_HEADINGS, OfferTerms
from jobs.models.price import Pack, PriceList, Rate, StockTin, Tax, TravelZone
from jobs.models.product import Batch, CanCode, FinishClass, Product
from jobs.models.search import SearchEntry, SearchWord, UnwrittenSearch
from jobs.models.structure import Defect, StructureCheck
from jobs.models.visit import GRADE_FIELDS, Visit
from jobs.models.worked_hours import MAX_HOURS, WorkedHours

__all__ = [
    "GRADE_FIELDS",
    "MAX_HOURS",
    "RIGHT_TO_CANCEL",
    "STRIP_ABOVE_COATS",
    "TERM_HEADINGS",
    "AppliedFinish",
    "Batch",
    "Booking",
    "BookingDay",
    "CanCode",
    "Coat",
    "CoatApplied",
    "CoatAppliedQuerySet",
    "ColourApproval",
    "Crew",
    "CrewDay",
    "DayOff",
    "Defect",
    "Document",
    "ExpectedWeather",
    "FinishClass",
    "GradeExample",
    "ImportRow",
    "Job",
    "LastUsed",
    "ListImport",
    "Offer",
    "OfferEvent",
    "OfferLine",
    "OfferQuerySet",
    "OfferScope",
    "OfferTax",
    "OfferTerms",
    "Pack",
    "Photo",
    "PriceList",
    "Product",
    "Rate",
    "SearchEntry",
    "SearchWord",
    "SignOff",
    "StockTin",
    "StructureCheck",
    "Tax",
    "TravelZone",
    "UnwrittenSearch",
    "Visit",
    "WeatherPosition",
    "WorkedHours",
    "weather_position",
]
