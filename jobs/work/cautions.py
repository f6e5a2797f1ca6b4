"""The usual cautions, shown where the work can hurt somebody.

Each says when it holds and where it is from; where no source is named it is common practice. They
are worded for everyone, and no more than a reminder: the product's data sheet, local rules and
licensed practice go before all of them, and the last line says so.
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext_lazy as _

from clients.models import Deck, Species
from clients.notation import StrOrPromise
from jobs.models import Defect, Job, Product

GENERAL_CAUTION = _(
    "The product's data sheet, local rules and licensed practice go before anything said here."
)
SELF_HEATING_CLASSES = {
    "penetrating_oil",
    "repellent_preservative",
    "semitransparent",
    "tinted",
    "clear_film",
}
CHEMICAL_KINDS = {Product.Kind.STRIPPER, Product.Kind.CLEANER, Product.Kind.BRIGHTENER}
CHEMICALS_OF_WORK = {
    Job.Kind.STRIP: {Product.Kind.STRIPPER, Product.Kind.BRIGHTENER},
    Job.Kind.RECOAT: {Product.Kind.CLEANER},
    Job.Kind.CLEAN: {Product.Kind.CLEANER},
}
SANDED_WORK = {Job.Kind.STRIP, Job.Kind.RECOAT, Job.Kind.REPAIR}
# Home use of timber treated with copper, chromium and arsenic (CCA) ended on 31 December 2003 in
# the United States and Canada (notice of the US Environmental Protection Agency of February 2002).
LAST_CCA_YEAR = 2003
# “Homes built and painted in 1991 or later: little concern”; the most lead was in exterior paints
# (Health Canada, It's Your Health, Lead-based paint). 40 CFR 745 counts homes before 1978.
LAST_LEAD_YEAR = 1990
# A guard is wanted above 30 in (International Residential Code R312.1) or 600 mm (National Building
# Code of Canada 9.8.8.1); both from memory.
GUARDED_HEIGHT_M = Decimal("0.6")
MAYBE_TREATED = {Species.TREATED_PINE, Species.UNKNOWN, Species.OTHER_SOFTWOOD}


@dataclass(frozen=True)
class WorkFacts:
    """What decides which cautions hold; what nobody knows counts as the worse."""

    deck: Deck | None
    kind: str
    products: Collection[Product]

    @property
    def chemicals(self) -> set[str]:
        """Kinds of product that go on and come off again, planned or logged."""
        usual = CHEMICALS_OF_WORK.get(Job.Kind(self.kind), set()) if self.kind else set()
        return {*usual, *({product.kind for product in self.products} & CHEMICAL_KINDS)}

    @property
    def is_sanded(self) -> bool:
        return self.kind in SANDED_WORK

    @property
    def may_burn(self) -> bool:
        return any(
            product.finish_class in SELF_HEATING_CLASSES or product.base == Product.Base.SOLVENT
            for product in self.products
        )

    @property
    def may_hold_arsenic(self) -> bool:
        return (
            self.deck is not None
            and self.deck.species in MAYBE_TREATED
            and is_from_before(self.deck.built_year, LAST_CCA_YEAR)
        )

    @property
    def may_hold_lead(self) -> bool:
        return self.deck is not None and is_from_before(self.deck.built_year, LAST_LEAD_YEAR)

    @property
    def is_high(self) -> bool:
        deck = self.deck
        return deck is not None and (deck.height_m is None or deck.height_m > GUARDED_HEIGHT_M)


def is_from_before(built_year: int | None, last_year: int) -> bool:
    """Nobody knows when it was built, or it was built by then."""
    return built_year is None or built_year <= last_year


@dataclass(frozen=True)
class Caution:
    """One caution, when it holds, and where it is from."""

    words: str
    holds: Callable[[WorkFacts], bool]
    source: str = "common practice"


STRUCTURE_CAUTION = (
    "Look before you step: ledger, posts, joists, stairs and railings, from below too. Where"
    " something is rotten, loose or rusted through, stop, keep people off and tell the client."
)
HEIGHT_CAUTION = (
    "Above the ground: try each railing before anybody leans on it, secure ladders, and work with"
    " protection against falls where your local rules want it."
)
ARSENIC_CAUTION = (
    "Treated timber from before 2004 may hold arsenic and chromium: no bleach, no dry sanding"
    " without a fitting dust mask and a vacuum, collect dust and waste water, wash before eating,"
    " never burn it. Keep children and pets off while it is wet."
)
LEAD_CAUTION = (
    "Old paint or film may hold lead: have it tested before it is stripped or sanded. If there is"
    " lead, stop; in many places only certified people may go on."
)
MIXING_CAUTION = (
    "Never let bleach and brightener (an acid) meet: in a can, on the boards or in the rinse water"
    " they give off chlorine gas. Never mix stripper with brightener either: they heat up and"
    " splash."
)
STRIPPER_CAUTION = (
    "Wet stripper is very slippery. Wear gloves, a mask, eye protection and boots, keep people and"
    " pets off, and rinse plants and walls around."
)
METAL_CAUTION = (
    "Stripper attacks aluminium, zinc, glass and paint: cover them, and rinse them at once where"
    " it ran."
)
CHEMICALS_CAUTION = (
    "Gloves, eye protection and boots for cleaner and brightener; keep them off skin, plants and"
    " metal."
)
EYES_CAUTION = (
    "In the eye: rinse with clean water for a quarter of an hour, then see a doctor; take the data"
    " sheet along. Know the number of the poison centre before you open a can."
)
RUNOFF_CAUTION = (
    "Nothing into drains, ponds, wells or vegetable beds: wet the ground first, dam and dilute, and"
    " dispose of waste as local rules say."
)
ELECTRIC_CAUTION = (
    "Electric tools on wet boards only behind a residual-current device (RCD, GFCI); cords out of"
    " the water."
)
DUST_CAUTION = (
    "Sanding: a dust mask that fits, eye and hearing protection; collect the dust and keep it from"
    " flames."
)
OILY_RAGS_CAUTION = (
    "Rags with oil can heat up by themselves and burn. Put them in water in a closed metal can"
    " before you leave, and take them off the property."
)
PRESSURE_WASHER_CAUTION = (
    "Soft timber: wash along the grain, and keep a pressure washer well away. A close jet furs and"
    " gouges it."
)
# In the order they matter: what to look at first, then what is opened, then the tools.
CAUTIONS = [
    Caution(STRUCTURE_CAUTION, lambda facts: facts.deck is not None),
    Caution(HEIGHT_CAUTION, lambda facts: facts.is_high, "29 CFR 1926.501 (6 ft), from memory"),
    Caution(
        ARSENIC_CAUTION,
        lambda facts: facts.may_hold_arsenic,
        "US EPA on CCA, 2002; a study in Environment International on washing and bleaching such"
        " a deck, seen in an account of it",
    ),
    Caution(
        LEAD_CAUTION,
        lambda facts: facts.may_hold_lead and (facts.is_sanded or bool(facts.chemicals)),
        "Health Canada, It's Your Health, Lead-based paint; 40 CFR 745 Subpart E",
    ),
    Caution(
        MIXING_CAUTION,
        lambda facts: bool(facts.chemicals),
        "hypochlorite and acid give chlorine: textbook chemistry",
    ),
    Caution(STRIPPER_CAUTION, lambda facts: Product.Kind.STRIPPER in facts.chemicals),
    Caution(METAL_CAUTION, lambda facts: Product.Kind.STRIPPER in facts.chemicals),
    Caution(CHEMICALS_CAUTION, lambda facts: bool(facts.chemicals - {Product.Kind.STRIPPER})),
    Caution(
        EYES_CAUTION,
        lambda facts: bool(facts.chemicals),
        "ANSI/ISEA Z358.1 (15 minutes), from memory",
    ),
    Caution(RUNOFF_CAUTION, lambda facts: bool(facts.chemicals)),
    Caution(
        PRESSURE_WASHER_CAUTION,
        lambda facts: (
            bool(facts.chemicals) and facts.deck is not None and facts.deck.is_jet_sensitive
        ),
    ),
    Caution(
        ELECTRIC_CAUTION,
        lambda facts: bool(facts.chemicals) or facts.is_sanded,
        "29 CFR 1926.404(b)(1), from memory",
    ),
    Caution(
        DUST_CAUTION,
        lambda facts: facts.is_sanded,
        "wood dust is carcinogenic: IARC Monographs 100C",
    ),
    Caution(OILY_RAGS_CAUTION, lambda facts: facts.may_burn),
]


def job_cautions(
    deck: Deck | None, kind: str, products: Iterable[Product], defects: Iterable[Defect] = ()
) -> list[StrOrPromise]:
    """What to mind on a job of this kind with these products: open defects of the deck first, the
    general rule last."""
    used = list(dict.fromkeys(products))
    facts = WorkFacts(deck, kind, used)
    found = [defect_caution(defect) for defect in defects]
    return listed([*found, *(each.words for each in CAUTIONS if each.holds(facts))], used)


def defect_caution(defect: Defect) -> str:
    """“Dangerous: keep off. Loose railing: at the stairs.”"""
    return f"{defect.get_severity_display()}. {defect}."


def danger_warning(defects: Iterable[Defect]) -> str:
    """That nobody works there; empty where nothing is dangerous."""
    named = ", ".join(str(defect) for defect in defects if defect.is_dangerous)
    if not named:
        return ""
    return f"Dangerous, and not repaired yet: {named}. Stop and report; no work there."


def closing_cautions(products: Iterable[Product]) -> list[StrOrPromise]:
    """What to mind when the work is done and logged."""
    used = list(dict.fromkeys(products))
    return listed([OILY_RAGS_CAUTION] if WorkFacts(None, "", used).may_burn else [], used)


def listed(words: list[StrOrPromise], products: list[Product]) -> list[StrOrPromise]:
    """With what the products' own labels say, and the general rule."""
    own = [f"{product.name}: {product.cautions}" for product in products if product.cautions]
    said: list[StrOrPromise] = [*words, *own]
    return [*said, GENERAL_CAUTION] if said else []
