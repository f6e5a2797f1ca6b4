"""The steps of the work in their order with their waits, from the products' data sheets, else common practice.

Common practice, no source: stripper 60 minutes and 15 to 20 more where it is stubborn, brightener 20 and 10 more, two
hours between coats, 24 hours before walking, five days before furniture. Cleaner kept wet for 15 minutes: USDA Forest
Products Laboratory, advice on deck care.
"""

from collections.abc import Iterator
from decimal import ROUND_CEILING, Decimal

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.languages import Words, ngettext_lazy
from clients.models import Deck
from jobs.models import Product, Rate
from jobs.scope.drying import DRYING_MINUTES, DRYING_WORDS
from jobs.scope.parts import Step
from jobs.scope.work import Work
from jobs.work.care import FURNITURE_DAYS, WALK_HOURS

DWELL_MINUTES = {"stripper": 60, "cleaner": 15, "brightener": 20}
EXTRA = {
    "stripper": (20, _("{minutes} minutes to act, 15 to 20 minutes more where it is stubborn")),
    "brightener": (10, _("{minutes} minutes to act, 10 minutes more on stains")),
}
TO_ACT = _("{minutes} minutes to act")
RECOAT_HOURS = Decimal(2)
HOUR, DAY = 60, 1440
SEAL = [_("Seal with {finish}"), _("Seal with {finish}, first coat"), _("Seal with {finish}, second coat"),
        _("Seal with {finish}, third coat")]  # fmt: skip
APPLIED = {
    1: _("{product}, first application"),
    2: _("{product}, second application"),
    3: _("{product}, third application"),
}
SEALING = _("Rails first, then stairs and boards: four or five boards at a time along their whole length, to the exit.")
GENTLY = _("Soft timber: wash with the grain at low pressure and from a distance; a close jet furs it.")
NAMED = {"stripper": _("Stripper"), "cleaner": _("Cleaner"), "brightener": _("Brightener")}
RINSED = {
    "stripper": _("Rinse off the stripper"),
    "cleaner": _("Rinse off the cleaner"),
    "brightener": _("Rinse off the brightener"),
}
TASK = {"stripper": Rate.Task.STRIP, "cleaner": Rate.Task.CLEAN, "brightener": Rate.Task.BRIGHTEN}


def steps(
    deck: Deck, work: Work, chemicals: dict[str, Product | None], product: Product | None, season: str
) -> list[Step]:
    """In the order they are done."""
    return [
        Step(
            Rate.Task.SET_UP, _("Set up"), _("Clear the deck, set loose nails, wet and cover plants, walls and metal.")
        ),
        *wet_work(deck, work, chemicals, season),
        drying(_("Let the wood dry"), _("Dry to the touch is not dry: measure before sealing."), season),
        Step(
            Rate.Task.SAND,
            _("Light sand"),
            _("60 to 80 grit along the grain, corners by hand; sweep and vacuum the dust."),
        ),
        *coats(work, product),
        *cure(product),
    ]


def wet_work(deck: Deck, work: Work, chemicals: dict[str, Product | None], season: str) -> Iterator[Step]:
    """Strip, or clean, then brighten."""
    rinse = GENTLY if deck.is_jet_damaged else _("Rinse with the grain until the water runs clear.")
    for kind, product in chemicals.items():
        times = work.stripper_applications if kind == "stripper" else 1
        for number in range(1, times + 1):
            if number > 1:
                yield drying(_("Let the surface dry"), _("Stripper goes on a dry surface."), season)
            yield acting(kind, product, number if times > 1 else 0)
            yield Step(TASK[kind], RINSED[kind], rinse)


def acting(kind: str, product: Product | None, number: int) -> Step:
    """Put a chemical on and let it act."""
    minutes = product.dwell_minutes if product and product.dwell_minutes else None
    least = minutes or DWELL_MINUTES[kind]
    more, wait = EXTRA.get(kind, (0, TO_ACT))
    name = product.name if product else NAMED[kind]
    title = format_lazy(APPLIED[number], product=name) if number else name
    return Step(
        TASK[kind], title, ACTING[kind], format_lazy(wait, minutes=least), least, least + more, minutes is not None
    )


ACTING = {
    "stripper": _("A full film on the dry surface; keep it moist while it acts. Wet stripper is very slippery."),
    "cleaner": _("On the wet boards; keep it wet, brush along the grain."),
    "brightener": _("On the damp surface, evenly, also on the ends of the boards."),
}


def drying(title: Words, words: Words, season: str) -> Step:
    least, most = DRYING_MINUTES[season]
    return Step("", title, words, DRYING_WORDS[season], least, most)


def coats(work: Work, product: Product | None) -> Iterator[Step]:
    hours = product.recoat_hours if product and product.recoat_hours is not None else None
    wait = RECOAT_HOURS if hours is None else hours
    name = product.name if product else _("finish")
    for number in range(1, work.coats + 1):
        words = SEALING if number == 1 else _("As the first.")
        title = format_lazy(SEAL[number if 1 < work.coats < len(SEAL) else 0], finish=name)
        if number == work.coats:
            yield Step(Rate.Task.COAT, title, words)
        else:
            between = ngettext_lazy("{count} hour between coats", "{count} hours between coats", whole(wait))
            until = format_lazy(between, count=display.number_when_read(wait, 3))
            yield Step(Rate.Task.COAT, title, words, until, int(wait * HOUR), int(wait * HOUR), hours is not None)


def cure(product: Product | None) -> Iterator[Step]:
    """When it may be walked on and when furniture comes back, both counted from the last coat."""
    walk = product.walk_hours if product else None
    days = product.furniture_days if product else None
    walk_hours, furniture_days = WALK_HOURS if walk is None else walk, FURNITURE_DAYS if days is None else days
    to_walk, to_carry = int(walk_hours * HOUR), int(furniture_days * DAY)
    yield Step(
        "", _("Walking"), _("Nobody on the deck until then, pets neither."),
        hours_after(Decimal(to_walk) / HOUR), to_walk, to_walk, walk is not None,
    )  # fmt: skip
    yield Step(
        "", _("Furniture"), _("Lift it back, do not drag it. Cool or damp weather makes it longer."),
        days_after(Decimal(to_carry) / DAY), to_carry, to_carry, days is not None,
    )  # fmt: skip


def hours_after(hours: Decimal) -> Words:
    words = ngettext_lazy("{count} hour after the last coat", "{count} hours after the last coat", whole(hours))
    return format_lazy(words, count=display.number_when_read(hours, 3))


def days_after(days: Decimal) -> Words:
    words = ngettext_lazy("{count} day after the last coat", "{count} days after the last coat", whole(days))
    return format_lazy(words, count=display.number_when_read(days, 3))


def whole(value: Decimal) -> int:
    """For the choice between one and many, which asks for a whole number: an hour and a half are many."""
    return int(value.to_integral_value(rounding=ROUND_CEILING))
