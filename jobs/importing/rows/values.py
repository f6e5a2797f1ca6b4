"""What a row of a list says, once it is understood."""

from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import Any

from clients.models import ContactPoint
from jobs.importing.cells import PhoneRead
from jobs.partial_dates import DaySpan


@dataclass(frozen=True, slots=True)
class ListRow:
    """A row as it was staged: its number in the sheet and its cells."""

    number: int
    cells: list[str]


@dataclass
class ClientRead:
    """Who it is and how to reach them."""

    name: str
    phones: list[PhoneRead] = field(default_factory=list)
    emails: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @cached_property
    def points(self) -> list[tuple[str, str, str]]:
        """(kind, as written, normalised) of each way to reach them, once all are read."""
        kinds = ContactPoint.Kind
        found = [(str(kinds.EMAIL), email, email.lower()) for email in self.emails]
        for phone in self.phones:
            kind = kinds.MOBILE if phone.is_mobile else kinds.PHONE
            found.append((str(kind), phone.written, phone.e164))
        return found


@dataclass(slots=True)
class SiteRead:
    """Where the deck is. `street` is empty where the list does not tell it."""

    street: str
    town: str
    region: str
    postcode: str
    country: str
    latitude: float
    longitude: float
    time_zone: str
    is_assumed: bool = False  # the list has no addresses: it may be anywhere


@dataclass(slots=True)
class DeckRead:
    """What the list says of the deck; what it does not say stays unknown."""

    label: str
    area_m2: Decimal | None = None
    species: str = ""
    notes: list[str] = field(default_factory=list)
    exposure: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CoatRead:
    """A product that went on. `product` is empty where its name, or its class, is not known."""

    product: str
    maker: str = ""
    kind: str = "finish"
    finish_class: str = ""
    colour: str = ""
    batch: str = ""
    coats: int | None = None
    litres: Decimal | None = None


@dataclass(slots=True)
class JobRead:
    """One job of work."""

    kind: str
    span: DaySpan
    coats: list[CoatRead] = field(default_factory=list)
    price: Decimal | None = None
    currency: str = ""
    crew: str = ""
    notes: list[str] = field(default_factory=list)
    grade: int | None = None
    reason: str = ""


@dataclass(slots=True)
class UnitRead:
    """What one row says, or the lines of one invoice together."""

    numbers: list[int]
    client: ClientRead | None = None
    site: SiteRead | None = None
    deck: DeckRead | None = None
    jobs: list[JobRead] = field(default_factory=list)
    problems: dict[str, str] = field(default_factory=dict)  # field → what to do
    remarks: list[str] = field(default_factory=list)
