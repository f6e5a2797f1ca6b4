"""What a booking and its move are made of: the values that forms hand to the actions."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clients.models import Deck, Property
from jobs.arrival import UNSPECIFIED_ARRIVAL, Arrival
from jobs.models import Crew, Offer


@dataclass(frozen=True)
class NewBooking:
    """Work to put into the diary, from `first_day` on or somewhere in the week of the day `week`.

    `hours` are those of the whole crew together. `crew` None means the one that suits best:
    already in that town, then early. `on_any_day` books a day on which the crew would not go out,
    by somebody who knows why. `notes` are for the crew.
    """

    site: Property
    decks: Sequence[Deck]
    hours: Decimal
    first_day: date | None = None
    week: date | None = None
    crew: Crew | None = None
    offer: Offer | None = None
    arrival: Arrival = UNSPECIFIED_ARRIVAL
    on_any_day: bool = False
    notes: str = ""


@dataclass(frozen=True)
class BookingMove:
    """Where a booking is to go, and why. `crew`, `hours` and `arrival` None: as they were."""

    first_day: date
    crew: Crew | None = None
    hours: Decimal | None = None
    arrival: Arrival | None = None
    on_any_day: bool = False
    why: str = ""
