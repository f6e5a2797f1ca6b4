"""Which finish holds over which: rules of common practice without a source; both data sheets go before them."""

from dataclasses import dataclass

from jobs.models import Product
from jobs.models.product import FinishClass

FILMS = {FinishClass.SOLID_FILM, FinishClass.CLEAR_FILM}
PIGMENT = [Product.Pigment.NONE, Product.Pigment.LIGHT, Product.Pigment.DARK]


@dataclass(frozen=True)
class Verdict:
    """Whether one finish holds over another without a strip, and why, as the end of a sentence."""

    holds: bool
    why: str


def over(old: Product, new: Product) -> Verdict:
    """What happens when `new` goes on a clean deck that still wears `old`."""
    if old == new:
        return Verdict(True, "it is the finish on the boards")
    against = [text for applies, text in objections(old, new) if applies]
    return Verdict(False, against[0]) if against else Verdict(True, agreement(old, new))


def objections(old: Product, new: Product) -> list[tuple[bool, str]]:
    """Most serious first."""
    waxed = old.finish_class == FinishClass.CLEAR_REPELLENT and old.finish_class != new.finish_class
    return [
        (is_film(new) and not is_film(old), "a film peels off boards that were oiled"),
        (is_film(old) and not is_film(new), "a penetrating finish cannot get through a film"),
        (is_film(new) and old.finish_class != new.finish_class, "a clear and a solid film do not wear alike"),
        (old.base != new.base, f"a {base(new)} finish does not bind to a {base(old)} one"),
        (waxed and new.base == Product.Base.WATER, "water-borne finish beads on the wax of a repellent"),
        (is_lighter(old, new), "a lighter finish does not cover a darker one"),
    ]


def agreement(old: Product, new: Product) -> str:
    if old.finish_class == new.finish_class:
        return f"it is of the same class and base ({new.get_finish_class_display().lower()}, {base(new)})"
    return f"it soaks in like the old one and is {base(new)} too"


def is_film(product: Product) -> bool:
    return product.finish_class in FILMS


def is_lighter(old: Product, new: Product) -> bool:
    return PIGMENT.index(Product.Pigment(new.pigment)) < PIGMENT.index(Product.Pigment(old.pigment))


def base(product: Product) -> str:
    return product.get_base_display().lower()


def distance(old: Product, new: Product) -> tuple[bool, bool, int]:
    """How far a compatible finish is from the old one, for sorting: class, maker, pigment."""
    steps = abs(PIGMENT.index(Product.Pigment(new.pigment)) - PIGMENT.index(Product.Pigment(old.pigment)))
    return (new.finish_class != old.finish_class, new.maker.casefold() != old.maker.casefold(), steps)
