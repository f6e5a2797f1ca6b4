"""What the forecast says about waiting, handed in by whoever drafts an offer (this app may not ask
the forecast)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from clients.models import Property
from jobs.scope import Scope

WAITING_MONTHS = (6, 12)  # months of waiting that an offer compares with now


@dataclass(frozen=True)
class DeckOutlook:
    """The window of one deck, the chance that only a strip will do today, and that after so many
    months of waiting.

    The latter, by months, holds for a deck that needs no strip today. Chances are shares from 0 to
    1.
    """

    window_opens_on: date | None = None
    due_on: date | None = None
    late_on: date | None = None
    strip_chance_today: float = 0.0
    strip_chance: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Outlook:
    """The outlook of the decks of one property, by deck, as of a day."""

    decks: Mapping[int, DeckOutlook]
    computed_on: date
    model_version: str = ""

    def for_deck(self, deck_id: int) -> DeckOutlook:
        return self.decks.get(deck_id, DeckOutlook())


@dataclass(frozen=True)
class OfferBrief:
    """What one offer is to be about."""

    site: Property
    scopes: Sequence[Scope]
    outlook: Outlook | None = None
