"""What a scope is made of. Litres are litres, money is in the business's currency, waits are in
minutes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from clients import display
from clients.models import Deck, say_surfaces
from clients.notation import FOOT, StrOrPromise, Units
from jobs.forecast_summary import WorkAdvice
from jobs.materials import RAIL_M2_PER_M, TREAD_M2, PackQuantity
from jobs.models import Product

NEXT_DAY_MINUTES = 720  # a wait from which the work goes on another day (a judgement)


@dataclass(frozen=True)
class Need:
    """One product the work takes: how much, what of it stands on the shelf, and what to buy for the
    least money.

    `what` is a kind of product or "abrasive"; abrasives are counted in `pieces`. `cost` is what the
    packs cost, None where something must be bought and no pack is known. `worth` is the litres at
    the price of a litre in these packs (None unknown). `note` says what was assumed. `by_surface`
    splits the litres.
    """

    product: Product | None
    what: str
    words: str
    litres: Decimal = Decimal(0)
    from_tins: Decimal = Decimal(0)
    packs: list[PackQuantity] = field(default_factory=list)
    cost: Decimal | None = None
    leftover_litres: Decimal = Decimal(0)
    colour: str = ""
    pieces: int = 0
    worth: Decimal | None = None
    note: str = ""
    by_surface: dict[str, Decimal] = field(default_factory=dict)

    @property
    def to_buy(self) -> Decimal:
        return max(Decimal(0), self.litres - self.from_tins)

    @property
    def surfaces_text(self) -> str:
        """Such as “boards 3.1 L, stairs 0.4 L”; empty where all of it is for one surface."""
        parts = [
            f"{name} {display.format_measure(litres, 'volume')}"
            for name, litres in self.by_surface.items()
        ]
        return ", ".join(parts) if len(parts) > 1 else ""

    def as_json(self) -> dict[str, Any]:
        """For `OfferScope.buying`; decimals as text."""
        return {
            "product": self.product.pk if self.product else None,
            "name": self.product.name if self.product else "",
            "what": self.what,
            "words": self.words,
            "colour": self.colour,
            "pieces": self.pieces,
            "litres": str(self.litres),
            "from_tins": str(self.from_tins),
            "leftover_litres": str(self.leftover_litres),
            "packs": [[str(pack.litres), pack.number, str(pack.price)] for pack in self.packs],
            "cost": None if self.cost is None else str(self.cost),
            "worth": None if self.worth is None else str(self.worth),
            "note": self.note,
            "by_surface": {name: str(litres) for name, litres in self.by_surface.items()},
        }


def cost_of_needs(needs: Iterable[Need]) -> Decimal | None:
    """What everything to be bought costs; None if the price of something is not known."""
    costs = [need.cost for need in needs if need.to_buy]
    return (
        None
        if any(cost is None for cost in costs)
        else sum((c for c in costs if c is not None), Decimal(0))
    )


@dataclass(frozen=True)
class WorkStep:
    """One step of the work; `wait_minutes` pass before the next one may begin.

    `task` is a task of the price list or empty; `longest_minutes` where the wait has a range;
    `is_from_data_sheet` tells whether the time is the product's own or common practice.
    """

    task: str
    title: StrOrPromise
    words: StrOrPromise
    wait: StrOrPromise = ""
    wait_minutes: int = 0
    max_wait_minutes: int = 0
    is_from_data_sheet: bool = False

    def as_json(self) -> dict[str, Any]:
        """For `OfferScope.steps`, for the crew."""
        return {
            "task": self.task,
            **self.translated_texts(),
            "wait_minutes": self.wait_minutes,
            "longest_minutes": self.max_wait_minutes,
            "is_from_data_sheet": self.is_from_data_sheet,
        }

    def translated_texts(self) -> dict[str, str]:
        """Title, words and wait in the language in force."""
        return {"title": str(self.title), "words": str(self.words), "wait": str(self.wait)}


@dataclass(frozen=True)
class Override:
    """What somebody wants instead of what the history proposes; empty means no override.

    `looks_first` goes with a work: it was agreed that one of us looks at the deck before it.
    `without_sanding` counts for a recoat: an oiled deck that did not fur need not be sanded.
    `surfaces` are those to work on; none means those that are due.
    """

    work: str = ""
    product: Product | None = None
    colour: str = ""
    coats: int = 0
    stripper_applications: int = 0
    looks_first: bool = False
    without_sanding: bool = False
    surfaces: Sequence[str] = ()


@dataclass(frozen=True)
class Scope:
    """The work on one deck. `quantities` by task of the price list: m² for clean, brighten and
    sand, m² times applications for strip, m² times coats for coat, metres of rail, treads of
    stairs, one visit for set-up. `looks_first`: one of us looks at the boards before the work is
    planned, which is a recoat unless they say otherwise. `worked` is the deck with the measures of
    the `surfaces` that are worked on alone; `left_out` are the others that it has.
    """

    deck: Deck
    worked: Deck
    work: str  # "recoat" or "strip"
    reasons: list[StrOrPromise]
    stripper_applications: int
    coats: int
    product: Product | None
    colour: str
    same_as_last: bool
    warning: str
    needs: list[Need]
    steps: list[WorkStep]
    quantities: dict[str, Decimal]
    season: str = ""  # summer, winter or between, in which the drying times hold
    month: date | None = None  # the first day of the month they were worked out for
    cautions: list[StrOrPromise] = field(default_factory=list)
    looks_first: bool = False
    surfaces: Sequence[str] = ()
    left_out: Sequence[str] = ()

    @property
    def left_out_words(self) -> str:
        """“Railing, stairs”; empty where everything is worked on."""
        return say_surfaces(self.left_out) if self.left_out else ""

    @property
    def visits(self) -> int:
        """On how many days somebody comes: a long wait before more work is another one. The look
        that decides is not counted."""
        worked = [place for place, step in enumerate(self.steps) if step.task]
        waits = self.steps[: worked[-1]] if worked else []
        return 1 + sum(step.wait_minutes >= NEXT_DAY_MINUTES for step in waits)

    @property
    def advice(self) -> WorkAdvice:
        """The same in one word."""
        return WorkAdvice.LOOK if self.looks_first else WorkAdvice(self.work)

    @property
    def is_strip(self) -> bool:
        return self.work == "strip"

    @property
    def litres(self) -> Decimal:
        """Litres of finish."""
        return sum(
            (need.litres for need in self.needs if need.what == Product.Kind.FINISH), Decimal(0)
        )

    @property
    def cost(self) -> Decimal | None:
        """What everything to be bought costs; None if the price of something is not known."""
        return cost_of_needs(self.needs)

    @property
    def sizes_text(self) -> str:
        """What a tread and a length of rail count for; empty for a deck without them."""
        treads = (
            f"A stair tread counts as {display.format_measure(TREAD_M2, 'area')}"
            if self.worked.stair_treads
            else ""
        )
        unit, name = (
            (FOOT, "foot")
            if display.current_business().units == Units.US
            else (Decimal(1), "metre")
        )
        rails = (
            f"a {name} of open rail as {display.format_measure(RAIL_M2_PER_M * unit, 'area')}"
            if self.worked.rail_m
            else ""
        )
        both = ", ".join(filter(None, (treads, rails)))
        return f"{both[:1].upper()}{both[1:]} (common practice)." if both else ""

    @property
    def why(self) -> str:
        """In the language in force."""
        return " ".join(map(str, self.reasons))
