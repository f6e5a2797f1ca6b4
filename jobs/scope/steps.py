"""The steps of the work in their order with their waits, from the products' data sheets, else
common practice.

Common practice, no source: stripper 60 minutes and 15 to 20 more where it is stubborn, brightener
20 and 10 more, two hours between coats, 24 hours before walking, five days before furniture.
Cleaner kept wet for 15 minutes: USDA Forest Products Laboratory, advice on deck care.
"""

from collections.abc import Iterator
from decimal import ROUND_CEILING, Decimal

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.models import Deck
from clients.notation import StrOrPromise, ngettext_lazy
from jobs.models import Product, Rate
from jobs.scope.definitions import WorkStep
from jobs.scope.drying import DRYING_MINUTES, DRYING_TEXTS
from jobs.scope.finish import FinishChoice
from jobs.scope.work import ProposedWork
from jobs.work import DEFAULT_FURNITURE_DAYS, DEFAULT_WALK_HOURS

DWELL_MINUTES = {"stripper": 60, "cleaner": 15, "brightener": 20}
EXTRA_DWELL = {
    "stripper": (20, _("{minutes} minutes to act, 15 to 20 minutes more where it is stubborn")),
    "brightener": (10, _("{minutes} minutes to act, 10 minutes more on stains")),
}
DWELL_TEXT = _("{minutes} minutes to act")
RECOAT_HOURS = Decimal(2)
HOUR_MINUTES = 60
DAY_MINUTES = 1440
SEAL_TITLES = [
    _("Seal with {finish}"),
    _("Seal with {finish}, first coat"),
    _("Seal with {finish}, second coat"),
    _("Seal with {finish}, third coat"),
]
APPLICATION_TITLES = {
    1: _("{product}, first application"),
    2: _("{product}, second application"),
    3: _("{product}, third application"),
}
SEALING_TEXT = _(
    "Railing first, then stairs and boards: four or five boards at a time along their whole length,"
    " to the exit."
)
RINSE_TEXT = _(
    "Along the house and the edges first, then railing and stairs, then the boards to the exit,"
    " with the grain, until the water runs clear."
)
GENTLE_WASH_TEXT = _(
    "Along the house and the edges first, then railing and stairs, then the boards to the exit."
    " Soft wood: with the grain, at low pressure and from a distance; a close jet furs it."
)
# Common practice, no source.
DECIDE_STEP = WorkStep(
    "",
    _("Look, then decide"),
    _(
        "Scrape one board of each side: if the wood shows, rinse. If not, keep it wet for 15 to 20"
        " minutes more and look again; what stays then takes another application."
    ),
)
# Common practice, no source: finishes keep to near neutral wood; 7 is neutral.
NEUTRAL_STEP = WorkStep(
    "",
    _("Check that it is neutral"),
    _("Test paper on the wet boards, several places: pH 6 to 8. If not, rinse again."),
)
PLANTS_STEP = WorkStep(
    "",
    _("Rinse the plants"),
    _("Plants, walls, glass and metal around, also what was covered; take the covers off."),
)
FASTENERS_STEP = WorkStep(
    "",
    _("Fasteners again"),
    _("Dry boards let nails and screws come up: set or replace those that stand out."),
)
SAND_STEP = WorkStep(
    Rate.Task.SAND,
    _("Light sand"),
    _("60 to 80 grit along the grain, corners by hand; sweep and vacuum the dust."),
)
TEST_PATCH_STEP = WorkStep(
    "",
    _("Test patch"),
    _(
        "Where nobody looks, as many coats as planned, and let it dry. The client approves the"
        " colour; write down name and day before the first coat."
    ),
)
CHEMICAL_NAMES = {"stripper": _("Stripper"), "cleaner": _("Cleaner"), "brightener": _("Brightener")}
RINSE_TITLES = {
    "stripper": _("Rinse off the stripper"),
    "cleaner": _("Rinse off the cleaner"),
    "brightener": _("Rinse off the brightener"),
}
LOOK_STEP = WorkStep(
    "",
    _("Look first"),
    _("We look at the boards before a day is found. They decide whether the old finish comes off."),
)
TASK_BY_CHEMICAL = {
    "stripper": Rate.Task.STRIP,
    "cleaner": Rate.Task.CLEAN,
    "brightener": Rate.Task.BRIGHTEN,
}


def work_steps(
    deck: Deck,
    work: ProposedWork,
    chemicals: dict[str, Product | None],
    choice: FinishChoice,
    season: str,
) -> list[WorkStep]:
    """In the order they are done."""
    product = choice.product
    return [
        *([LOOK_STEP] if work.looks_first else []),
        WorkStep(
            Rate.Task.SET_UP,
            _("Set up"),
            _(
                "Look at the structure, from below too. Clear the deck, set or replace loose nails"
                " and screws, wet and cover plants, walls and metal."
            ),
        ),
        *washing_steps(deck, work, chemicals, season),
        *([NEUTRAL_STEP, PLANTS_STEP] if chemicals else []),
        drying_step(
            _("Let the wood dry"), _("Dry to the touch is not dry: measure before sealing."), season
        ),
        FASTENERS_STEP,
        *([SAND_STEP] if work.is_sanded else []),
        *([] if choice.same_as_last else [TEST_PATCH_STEP]),
        *coat_steps(work, product),
        *cure_steps(product),
    ]


def washing_steps(
    deck: Deck, work: ProposedWork, chemicals: dict[str, Product | None], season: str
) -> Iterator[WorkStep]:
    """Strip, or clean, then brighten."""
    rinse = GENTLE_WASH_TEXT if deck.is_jet_sensitive else RINSE_TEXT
    for kind, product in chemicals.items():
        times = work.stripper_applications if kind == "stripper" else 1
        for number in range(1, times + 1):
            if number > 1:
                yield drying_step(
                    _("Let the surface dry"), _("Stripper goes on a dry surface."), season
                )
            yield application_step(kind, product, number if times > 1 else 0)
            if kind == "stripper":
                yield DECIDE_STEP
            yield WorkStep(TASK_BY_CHEMICAL[kind], RINSE_TITLES[kind], rinse)


def application_step(kind: str, product: Product | None, number: int) -> WorkStep:
    """Put a chemical on and let it act."""
    minutes = product.dwell_minutes if product and product.dwell_minutes else None
    least = minutes or DWELL_MINUTES[kind]
    more, wait = EXTRA_DWELL.get(kind, (0, DWELL_TEXT))
    name = product.name if product else CHEMICAL_NAMES[kind]
    title = format_lazy(APPLICATION_TITLES[number], product=name) if number else name
    return WorkStep(
        TASK_BY_CHEMICAL[kind],
        title,
        APPLICATION_TEXTS[kind],
        format_lazy(wait, minutes=least),
        least,
        least + more,
        minutes is not None,
    )


APPLICATION_TEXTS = {
    "stripper": _(
        "A full film on the dry surface; keep it moist while it acts. Wet stripper is very"
        " slippery."
    ),
    "cleaner": _("On the wet boards; keep it wet, brush along the grain."),
    "brightener": _("On the damp surface, evenly, also on the ends of the boards."),
}


def drying_step(title: StrOrPromise, words: StrOrPromise, season: str) -> WorkStep:
    least, most = DRYING_MINUTES[season]
    return WorkStep("", title, words, DRYING_TEXTS[season], least, most)


def coat_steps(work: ProposedWork, product: Product | None) -> Iterator[WorkStep]:
    hours = product.recoat_hours if product and product.recoat_hours is not None else None
    wait = RECOAT_HOURS if hours is None else hours
    name = product.name if product else _("finish")
    for number in range(1, work.coats + 1):
        words = SEALING_TEXT if number == 1 else _("As the first.")
        title = format_lazy(
            SEAL_TITLES[number if 1 < work.coats < len(SEAL_TITLES) else 0], finish=name
        )
        if number == work.coats:
            yield WorkStep(Rate.Task.COAT, title, words)
        else:
            between = ngettext_lazy(
                "{count} hour between coats", "{count} hours between coats", plural_number(wait)
            )
            until = format_lazy(between, count=display.format_number_lazy(wait, 3))
            yield WorkStep(
                Rate.Task.COAT,
                title,
                words,
                until,
                int(wait * HOUR_MINUTES),
                int(wait * HOUR_MINUTES),
                hours is not None,
            )


def cure_steps(product: Product | None) -> Iterator[WorkStep]:
    """When it may be walked on and when furniture comes back, both counted from the last coat."""
    walk = product.walk_hours if product else None
    days = product.furniture_days if product else None
    walk_hours = DEFAULT_WALK_HOURS if walk is None else walk
    furniture_days = DEFAULT_FURNITURE_DAYS if days is None else days
    to_walk = int(walk_hours * HOUR_MINUTES)
    to_carry = int(furniture_days * DAY_MINUTES)
    yield WorkStep(
        "",
        _("Walking"),
        _("Nobody on the deck until then, pets neither."),
        hours_after_coat(Decimal(to_walk) / HOUR_MINUTES),
        to_walk,
        to_walk,
        walk is not None,
    )
    yield WorkStep(
        "",
        _("Furniture"),
        _("Lift it back, do not drag it. Cool or damp weather makes it longer."),
        days_after_coat(Decimal(to_carry) / DAY_MINUTES),
        to_carry,
        to_carry,
        days is not None,
    )


def hours_after_coat(hours: Decimal) -> StrOrPromise:
    words = ngettext_lazy(
        "{count} hour after the last coat",
        "{count} hours after the last coat",
        plural_number(hours),
    )
    return format_lazy(words, count=display.format_number_lazy(hours, 3))


def days_after_coat(days: Decimal) -> StrOrPromise:
    words = ngettext_lazy(
        "{count} day after the last coat", "{count} days after the last coat", plural_number(days)
    )
    return format_lazy(words, count=display.format_number_lazy(days, 3))


def plural_number(value: Decimal) -> int:
    """For the choice between one and many, which asks for a whole number:
    an hour and a half are many."""
    return int(value.to_integral_value(rounding=ROUND_CEILING))
