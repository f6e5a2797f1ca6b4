"""A deck with the forecast of its coat as one row of a query:
what the due list and the pacing plan both read."""

from dataclasses import MISSING, dataclass, fields
from datetime import date
from decimal import Decimal

from jobs.partial_dates import DaySpan

# Where a column lies, seen from the forecast; what is not named here is the forecast's own.
COLUMN_PATHS = {
    "site_id": "deck__site_id",
    "client_id": "deck__site__client_id",
    "client": "deck__site__client__name",
    "label": "deck__label",
    "street": "deck__site__street",
    "town": "deck__site__town",
    "region": "deck__site__region",
    "area_m2": "deck__area_m2",
    "coated_from": "job__finished_from",
    "coated_on": "job__finished_on",
    "latitude": "deck__site__latitude",
    "preferred_channel": "deck__site__client__preferred_channel",
}


@dataclass
class DeckRow:
    """The columns that both share; a kind of row adds its own."""

    deck_id: int
    job_id: int
    client_id: int
    client: str
    label: str
    street: str
    town: str
    region: str
    area_m2: Decimal | None
    window_opens_on: date
    due_on: date
    surface: str  # whose coat the next visit is for
    coat_build: int
    coated_from: date | None
    coated_on: date
    latitude: float

    @property
    def coat_span(self) -> DaySpan:
        """The days on which the coat may have been laid."""
        return DaySpan(self.coated_from or self.coated_on, self.coated_on)


def value_columns(row: type[DeckRow]) -> list[str]:
    """For `values_list`, in the order of the fields;
    those with a value of their own are not read."""
    read = [
        each.name
        for each in fields(row)
        if each.default is MISSING and each.default_factory is MISSING
    ]
    return [COLUMN_PATHS.get(name, name) for name in read]
