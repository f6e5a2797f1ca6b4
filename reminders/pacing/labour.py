"""How long the work of each deck takes:
as an offer would hold it, by judgement where no price list says the times."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import median

from clients.models import Deck, UsualSize
from jobs.offers import DeckHours, DuePart, work_hours_by_deck

# While no price list says the minutes (judgement): for the visit, a m² of recoat, a m² of strip.
STANDARD_HOURS = (1.0, 0.25, 0.6)
NO_PARTS: Mapping[int, DuePart] = {}


@dataclass(frozen=True)
class LabourTimes:
    """Hours by deck; what a m² of recoat takes in the middle."""

    decks: dict[int, DeckHours]
    recoat_m2: float
    is_from_prices: bool
    usual: UsualSize | None = None  # taken for the decks whose size nobody knows, if there are any

    def visit_hours(self, deck_ids: Collection[int]) -> float:
        """Of these decks of one property, each with the work that is proposed for it."""
        rows = [self.decks[deck] for deck in deck_ids]
        return max(row.visit for row in rows) + sum(
            row.strip if row.is_strip else row.recoat for row in rows
        )


def labour_times(
    areas: Mapping[int, Decimal | None],
    *,
    today: date,
    parts: Mapping[int, DuePart] = NO_PARTS,
) -> LabourTimes:
    """`areas` are those of the decks in question, by number, in m², None where nobody knows; of
    those in `parts` only what is due counts. In a fixed number of queries."""
    usual = Deck.objects.usual_size() if None in areas.values() else None
    taken = {
        deck: usual.area_m2 if area is None and usual else float(area or 0)
        for deck, area in areas.items()
    }
    known = work_hours_by_deck(areas, today=today) if areas else {}
    decks = known or {deck: standard_hours(area) for deck, area in taken.items()}
    rates = [row.recoat / max(taken[deck], 1.0) for deck, row in decks.items()]
    return LabourTimes(
        decks | {deck: decks[deck].of_part(part) for deck, part in parts.items()},
        median(rates) if rates else STANDARD_HOURS[1],
        is_from_prices=bool(known),
        usual=usual,
    )


def standard_hours(area: float) -> DeckHours:
    visit, recoat, strip = STANDARD_HOURS
    return DeckHours(visit, area * recoat, area * strip, is_strip=False)
