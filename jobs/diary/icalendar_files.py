"""Bookings for calendars (RFC 5545, 5546, 7986): one file for the client, one feed for each crew.

A booking keeps its UID for ever; SEQUENCE goes up with every change. With a time of arrival it
begins then, by the clock of the property; else it is whole days, so DTEND is the day after the
last. Nobody is asked to answer: the file publishes a booking (RFC 5546, 3.2.1), and calls it off by
CANCEL (4.1.3).
"""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import ceil

from django.conf import settings
from django.db.models import QuerySet
from django.urls import reverse
from icalendar import Calendar, Event, vText

from clients import display
from clients.display import format_number
from clients.models import Business
from jobs.models import Booking, Crew, OfferScope

PRODID = "-//Deck care//Diary//EN"
CALENDAR_MEDIA_TYPE = "text/calendar"
FEED_HISTORY_DAYS = 90  # how long a booking that is over or called off stays in a feed
FEED_REFRESH_INTERVAL = timedelta(hours=6)
WORKING_DAY_MINUTES = (
    8 * 60
)  # minutes that a crew is out when its hours of the day are filled (common practice, no source)
QUARTER_HOUR_MINUTES = 15  # minutes; nobody knows the end of work nearer than that
ICALENDAR_STATUSES = {Booking.State.HELD: "TENTATIVE", Booking.State.CANCELLED: "CANCELLED"}
FEED_COLOURS = [
    "peru",
    "steelblue",
    "seagreen",
    "slateblue",
    "indianred",
    "darkkhaki",
]  # names of CSS Color 3


def client_calendar_file(booking: Booking, business: Business, *, now: datetime) -> bytes:
    """The booking as the client puts it into a calendar;
    DTSTAMP is the moment of writing (RFC 5545, 3.8.7.2)."""
    is_off = booking.state == Booking.State.CANCELLED
    event = booking_event(booking, stamp=now)
    event.add("summary", f"{business.name}: {deck_names(booking)}")
    event.add("location", booking.site.address)
    with display.override_business(business), display.in_client_language(booking.client.language):
        arrives = booking.arrival().client_sentence
    event.add(
        "description",
        "\n".join(
            filter(None, [booking_days_text(booking), arrives, business.phone, business.email])
        ),
    )
    event.add(
        "organizer", f"mailto:{business.email or business.sender}", parameters={"CN": business.name}
    )
    event.add("transp", "TRANSPARENT")  # the client need not be at home
    if is_off and booking.why:
        event.add("comment", booking.why)
    content: bytes = build_calendar([event], method="CANCEL" if is_off else "PUBLISH").to_ical()
    return content


def itip_method(booking: Booking) -> str:
    return "CANCEL" if booking.state == Booking.State.CANCELLED else "PUBLISH"


def crew_feed_file(
    crew: Crew, bookings: Iterable[Booking], business: Business, *, url: str
) -> bytes:
    """All bookings of a crew; initials instead of names, and nothing that opens a gate, for a link
    can get lost.

    Without METHOD, so DTSTAMP is the last change, and the feed stays the same, byte for byte, while
    nothing changes.
    """
    whole = build_calendar([crew_event(booking) for booking in bookings])
    name = vText(
        f"{crew.name}, {business.name}"
    )  # the library knows these two names as no text, and would not escape
    whole.add("name", name)
    whole.add("x-wr-calname", name)
    whole.add("refresh-interval", FEED_REFRESH_INTERVAL, parameters={"VALUE": "DURATION"})
    whole.add("x-published-ttl", "PT6H")
    whole.add("source", url, parameters={"VALUE": "URI"})
    whole.add("color", FEED_COLOURS[crew.pk % len(FEED_COLOURS)])
    content: bytes = whole.to_ical()
    return content


def crew_feed_bookings(crew: Crew, *, today: date) -> QuerySet[Booking]:
    """What the feed holds, in four queries however many."""
    rows = Booking.objects.filter(crew=crew, last_on__gte=today - timedelta(days=FEED_HISTORY_DAYS))
    return rows.select_related("site", "client", "crew").prefetch_related(
        "decks", "days__crew_day", "offer__scopes__product"
    )


def build_calendar(events: Iterable[Event], *, method: str = "") -> Calendar:
    whole = Calendar()
    whole.add("prodid", PRODID)
    whole.add("version", "2.0")
    if method:
        whole.add("method", method)
    for event in events:
        whole.add_component(event)
    add_vtimezones(whole)
    return whole


def add_vtimezones(whole: Calendar) -> None:
    """A VTIMEZONE for each TZID that is used (RFC 5545, 3.6.5), with the changes of those years and
    no others."""
    starts = [event.decoded("dtstart") for event in whole.walk("VEVENT")]
    if years := [start.year for start in starts if isinstance(start, datetime)]:
        whole.add_missing_timezones(date(min(years) - 1, 1, 1), date(max(years) + 2, 1, 1))


def booking_event(booking: Booking, *, stamp: datetime) -> Event:
    event = Event()
    event.add("uid", str(booking.uid))
    event.add("dtstamp", stamp.replace(microsecond=0))
    event.add("sequence", booking.sequence)
    begins, ends = booking_event_span(booking)
    event.add("dtstart", begins)
    event.add("dtend", ends)
    event.add("created", booking.created_at.replace(microsecond=0))
    event.add("last-modified", booking.changed_at.replace(microsecond=0))
    event.add("status", ICALENDAR_STATUSES.get(Booking.State(booking.state), "CONFIRMED"))
    return event


def booking_event_span(booking: Booking) -> tuple[date, date]:
    """Whole days, or moments at the property:
    from the first arrival to when the last day's work may be done."""
    arrival = booking.arrival()
    if arrival.begins is None:
        return booking.first_on, booking.last_on + timedelta(days=1)
    zone = booking.site.zone
    last = datetime.combine(booking.last_on, arrival.begins, tzinfo=zone) + time_on_site(booking)
    if arrival.ends:
        last = max(last, datetime.combine(booking.last_on, arrival.ends, tzinfo=zone))
    return datetime.combine(booking.first_on, arrival.begins, tzinfo=zone), last


def time_on_site(booking: Booking) -> timedelta:
    """On its last day: the share of the crew's hours that it takes of a working day, in whole
    quarters of an hour."""
    parts = [part.hours for part in booking.days.all()]
    share = min((parts[-1] if parts else booking.hours) / booking.crew.hours_a_day, Decimal(1))
    return timedelta(
        minutes=QUARTER_HOUR_MINUTES * ceil(share * WORKING_DAY_MINUTES / QUARTER_HOUR_MINUTES)
    )


def crew_event(booking: Booking) -> Event:
    home = booking.site
    event = booking_event(booking, stamp=booking.changed_at)
    event.add("summary", f"{home.town}: {home.street} ({name_initials(booking.client.name)})")
    event.add(
        "location", ", ".join(filter(None, [home.street, home.town, home.region, home.postcode]))
    )
    arrives = f"Arrival {booking.arrival().words}" if booking.arrival() else ""
    event.add(
        "description",
        "\n".join(
            [booking_days_text(booking), *filter(None, [arrives]), *booking_work_lines(booking)]
        ),
    )
    event.add("url", settings.BASE_URL + reverse("diary:booking", args=[booking.pk]))
    return event


def name_initials(name: str) -> str:
    return "".join(f"{word[0]}." for word in name.split() if word[0].isalpha())[:10]


def deck_names(booking: Booking) -> str:
    return ", ".join(deck.label for deck in booking.decks.all())


def booking_days_text(booking: Booking) -> str:
    """Only for work over several days: which they are (a weekend may lie between)."""
    days = [part.crew_day.day.isoformat() for part in booking.days.all()]
    return ", ".join(days) if len(days) > 1 else ""


def booking_work_lines(booking: Booking) -> list[str]:
    scopes = {scope.deck_id: scope for scope in booking.offer.scopes.all()} if booking.offer else {}
    lines = [f"{format_number(booking.hours)} h"]
    for deck in booking.decks.all():
        words = scope_summary(scopes[deck.pk]) if deck.pk in scopes else ""
        lines.append(f"{deck.label}: {words}" if words else deck.label)
    return lines


def scope_summary(scope: OfferScope) -> str:
    """“Clean and recoat, Tidewood Deck Oil, Driftwood, 2 coats”."""
    coats = f"{scope.coats} coat{'' if scope.coats == 1 else 's'}"
    what = [scope.product.name, scope.colour, coats] if scope.product else []
    return ", ".join(filter(None, [scope.get_work_display(), *what]))
