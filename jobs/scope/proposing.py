"""From rows to scopes: histories, shelf and season are read once, then each deck is worked out by itself."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from clients import display
from clients.models import Business, Deck, Property
from jobs.models import Product, Rate
from jobs.scope import drying
from jobs.scope.finish import choose
from jobs.scope.history import History, histories
from jobs.scope.needs import Supply, helpers, needs
from jobs.scope.parts import Scope, Wish
from jobs.scope.shelf import shelf
from jobs.scope.steps import steps
from jobs.scope.work import Work, decide, unseen
from jobs.work.cautions import cautions

NO_WISH = Wish()


@dataclass(frozen=True)
class Day:
    """Today, the month the work can be done in, and the latitude that makes its season."""

    today: date
    month: date
    latitude: float

    @property
    def season(self) -> str:
        return drying.season(self.month.month, self.latitude)


def propose(decks: Iterable[Deck], *, today: date, wishes: Mapping[int, Wish] | None = None) -> dict[int, Scope]:
    """The scope of each deck by its number, in a fixed number of queries however many decks.

    Tins on the shelf are shared by the decks of one property; every property sees the whole shelf, for a scope reserves
    nothing. `wishes`, by deck, go before what the history says.
    """
    listed = list({deck.pk: deck for deck in decks}.values())
    past, stock = histories(listed), shelf(today=today)
    latitudes = dict(Property.objects.filter(decks__in=listed).values_list("pk", "latitude"))
    business = Business.current()
    month = drying.next_workable(today, business.season_months if business else [])
    supplies: dict[int, Supply] = {}
    with display.written_for(business):
        return {
            deck.pk: scope_of(
                past[deck.pk], supplies.setdefault(deck.property_id, Supply(stock)),
                (wishes or {}).get(deck.pk, NO_WISH), Day(today, month, latitudes[deck.property_id]),
            )
            for deck in listed
        }  # fmt: skip


def propose_one(deck: Deck, *, today: date, wish: Wish = NO_WISH) -> Scope:
    return propose([deck], today=today, wishes={deck.pk: wish})[deck.pk]


def scope_of(history: History, supply: Supply, wish: Wish, day: Day) -> Scope:
    choice = choose(history, supply.shelf, wish)
    work = decide(history, choice, wish)
    deck, chemicals = history.deck, helpers(history, work, supply.shelf)
    used = [product for product in [*chemicals.values(), choice.product] if product]
    return Scope(
        deck=deck, work=work.work, reasons=[reason for reason in work.reasons if reason],
        stripper_applications=work.stripper_applications, coats=work.coats, product=choice.product,
        colour=choice.colour, same_as_last=choice.same_as_last,
        warning=" ".join(filter(None, (work.warning, choice.warning, unseen(history, work, today=day.today)))),
        needs=needs(history, work, choice, supply), steps=steps(deck, work, chemicals, choice.product, day.season),
        quantities=quantities(deck, work, chemicals), season=day.season, month=day.month,
        cautions=cautions(deck, work.work, used),
    )  # fmt: skip


def quantities(deck: Deck, work: Work, chemicals: Mapping[str, Product | None]) -> dict[str, Decimal]:
    """What the price list charges for, by task; a task with nothing to do is left out."""
    area, task = deck.area_m2, Rate.Task
    counted = {
        task.SET_UP: Decimal(1),
        task.STRIP: area * work.stripper_applications,
        task.CLEAN: area if "cleaner" in chemicals else Decimal(0),
        task.BRIGHTEN: area if "brightener" in chemicals else Decimal(0),
        task.SAND: area,
        task.COAT: area * work.coats,
        task.RAILS: deck.rail_m,
        task.STAIRS: Decimal(deck.stair_treads),
    }
    return {str(name): value for name, value in counted.items() if value > 0}
