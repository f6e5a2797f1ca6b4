"""The steps of the work in their order with their waits, from the products' data sheets, else common practice.

Common practice, no source: stripper 60 minutes and 15 to 20 more where it is stubborn, brightener 20 and 10 more, two
hours between coats, 24 hours before walking, five days before furniture. Cleaner kept wet for 15 minutes: USDA Forest
Products Laboratory, advice on deck care.
"""

from collections.abc import Iterator
from decimal import Decimal

from clients.models import Deck
from jobs.care import FURNITURE_DAYS, WALK_HOURS
from jobs.models import Product, Rate
from jobs.scope.drying import DRYING_MINUTES, DRYING_WORDS
from jobs.scope.parts import Step
from jobs.scope.work import Work

DWELL_MINUTES = {"stripper": 60, "cleaner": 15, "brightener": 20}
EXTRA = {
    "stripper": (20, "15 to 20 minutes more where it is stubborn"),
    "brightener": (10, "10 minutes more on stains"),
}
RECOAT_HOURS = Decimal(2)
HOUR, DAY = 60, 1440
ONCE = ["", "first", "second", "third"]
SEALING = "Rails first, then stairs and boards: four or five boards at a time along their whole length, to the exit."
GENTLY = "Soft timber: wash with the grain at low pressure and from a distance; a close jet furs it."
TASK = {"stripper": Rate.Task.STRIP, "cleaner": Rate.Task.CLEAN, "brightener": Rate.Task.BRIGHTEN}


def steps(
    deck: Deck, work: Work, chemicals: dict[str, Product | None], product: Product | None, season: str
) -> list[Step]:
    """In the order they are done."""
    return [
        Step(Rate.Task.SET_UP, "Set up", "Clear the deck, set loose nails, wet and cover plants, walls and metal."),
        *wet_work(deck, work, chemicals, season),
        drying("Let the wood dry", "Dry to the touch is not dry: measure before sealing.", season),
        Step(
            Rate.Task.SAND, "Light sand", "60 to 80 grit along the grain, corners by hand; sweep and vacuum the dust."
        ),
        *coats(work, product),
        *cure(product),
    ]


def wet_work(deck: Deck, work: Work, chemicals: dict[str, Product | None], season: str) -> Iterator[Step]:
    """Strip, or clean, then brighten."""
    rinse = GENTLY if deck.is_jet_damaged else "Rinse with the grain until the water runs clear."
    for kind, product in chemicals.items():
        times = work.stripper_applications if kind == "stripper" else 1
        for number in range(1, times + 1):
            if number > 1:
                yield drying("Let the surface dry", "Stripper goes on a dry surface.", season)
            yield acting(kind, product, number if times > 1 else 0)
            yield Step(TASK[kind], f"Rinse off the {kind}", rinse)


def acting(kind: str, product: Product | None, number: int) -> Step:
    """Put a chemical on and let it act."""
    minutes = product.dwell_minutes if product and product.dwell_minutes else None
    least = minutes or DWELL_MINUTES[kind]
    more, extra = EXTRA.get(kind, (0, ""))
    name = product.name if product else kind.capitalize()
    return Step(
        TASK[kind], f"{name}{f', {ONCE[number]} application' if number else ''}", ACTING[kind],
        f"{least} minutes to act{f', {extra}' if extra else ''}", least, least + more, minutes is not None,
    )  # fmt: skip


ACTING = {
    "stripper": "A full film on the dry surface; keep it moist while it acts. Wet stripper is very slippery.",
    "cleaner": "On the wet boards; keep it wet, brush along the grain.",
    "brightener": "On the damp surface, evenly, also on the ends of the boards.",
}


def drying(title: str, words: str, season: str) -> Step:
    least, most = DRYING_MINUTES[season]
    return Step("", title, words, DRYING_WORDS[season], least, most)


def coats(work: Work, product: Product | None) -> Iterator[Step]:
    hours = product.recoat_hours if product and product.recoat_hours is not None else None
    wait = RECOAT_HOURS if hours is None else hours
    name = product.name if product else "finish"
    for number in range(1, work.coats + 1):
        words = SEALING if number == 1 else "As the first."
        title = f"Seal with {name}" + (f", {ONCE[number]} coat" if 1 < work.coats < len(ONCE) else "")
        if number == work.coats:
            yield Step(Rate.Task.COAT, title, words)
        else:
            until = f"{plain(wait)} hour{'' if wait == 1 else 's'} between coats"
            yield Step(Rate.Task.COAT, title, words, until, int(wait * HOUR), int(wait * HOUR), hours is not None)


def cure(product: Product | None) -> Iterator[Step]:
    """When it may be walked on and when furniture comes back, both counted from the last coat."""
    walk = product.walk_hours if product else None
    days = product.furniture_days if product else None
    hours = int((WALK_HOURS if walk is None else walk) * HOUR)
    whole = int((FURNITURE_DAYS if days is None else days) * DAY)
    yield Step(
        "", "Walking", "Nobody on the deck until then, pets neither.",
        f"{plain(Decimal(hours) / HOUR)} hours after the last coat", hours, hours, walk is not None,
    )  # fmt: skip
    yield Step(
        "", "Furniture", "Lift it back, do not drag it. Cool or damp weather makes it longer.",
        f"{plain(Decimal(whole) / DAY)} days after the last coat", whole, whole, days is not None,
    )  # fmt: skip


def plain(value: Decimal) -> str:
    """A number without trailing zeros."""
    return f"{value.normalize():f}"
