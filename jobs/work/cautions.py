"""The usual cautions, shown where the work can hurt somebody. Common practice;
the data sheet goes before them."""

from collections.abc import Iterable

from django.utils.translation import gettext_lazy as _

from clients.languages import StrOrPromise
from clients.models import Deck
from jobs.models import Job, Product

STRIPPER_CAUTION = (
    "Wet stripper is very slippery. Wear gloves, a mask, eye protection and boots, keep people and"
    " pets off, and rinse plants and walls around."
)
OILY_RAGS_CAUTION = (
    "Rags with oil can heat up by themselves and burn. Put them in water in a closed metal can"
    " before you leave, and take them off the property."
)
CHEMICALS_CAUTION = (
    "Gloves, eye protection and boots for cleaner and brightener; keep them off skin, plants and"
    " metal."
)
PRESSURE_WASHER_CAUTION = (
    "Soft timber: wash along the grain, and keep a pressure washer well away. A close jet furs and"
    " gouges it."
)
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


def job_cautions(deck: Deck | None, kind: str, products: Iterable[Product]) -> list[StrOrPromise]:
    """What to mind on a job of this kind with these products, the general rule last."""
    used = list(products)
    kinds = {product.kind for product in used}
    said = [
        (kind == Job.Kind.STRIP or Product.Kind.STRIPPER in kinds, STRIPPER_CAUTION),
        (bool(kinds & {Product.Kind.CLEANER, Product.Kind.BRIGHTENER}), CHEMICALS_CAUTION),
        (
            deck is not None and deck.is_jet_sensitive and kind != Job.Kind.REPAIR,
            PRESSURE_WASHER_CAUTION,
        ),
        (
            any(
                product.finish_class in SELF_HEATING_CLASSES or product.base == "solvent"
                for product in used
            ),
            OILY_RAGS_CAUTION,
        ),
    ]
    own = [
        f"{product.name}: {product.cautions}" for product in dict.fromkeys(used) if product.cautions
    ]
    listed: list[StrOrPromise] = [*(text for holds, text in said if holds), *own]
    return [*listed, GENERAL_CAUTION] if listed else []
