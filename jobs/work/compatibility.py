"""Which finish holds over which: rules of common practice without a source;
both data sheets go before them."""

from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import TextChoices
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.notation import StrOrPromise
from jobs.models import FinishClass, Product

FILM_FINISHES = {FinishClass.SOLID_FILM, FinishClass.CLEAR_FILM}
DOES_NOT_BIND = _("a {new} finish does not bind to a {old} one")
lowercase_lazy: Callable[[StrOrPromise], StrOrPromise] = lazy(lambda words: str(words).lower(), str)
# As-found grades from which only a strip will do. A film has a second limit state at 4; an oil has
# none and is cleaned and recoated until nothing is left of it (docs/forecast.md).
FILM_STRIP_GRADE = 4
OIL_STRIP_GRADE = 5
# moderate, about 1 % of the surface in ISO 4628-5 (from memory): a new coat goes with the flakes
FLAKING_GRADE = 3
PIGMENT_ORDER = [Product.Pigment.NONE, Product.Pigment.LIGHT, Product.Pigment.DARK]


@dataclass(frozen=True)
class Compatibility:
    """Whether one finish holds over another without a strip, and why, as the end of a sentence."""

    holds: bool
    why: StrOrPromise


def finish_compatibility(old: Product, new: Product) -> Compatibility:
    """What happens when `new` goes on a clean deck that still wears `old`."""
    if old == new:
        return Compatibility(True, _("it is the finish on the boards"))
    against = [text for applies, text in objections(old, new) if applies]
    return Compatibility(False, against[0]) if against else Compatibility(True, agreement(old, new))


def objections(old: Product, new: Product) -> list[tuple[bool, StrOrPromise]]:
    """Most serious first."""
    waxed = old.finish_class == FinishClass.CLEAR_REPELLENT and old.finish_class != new.finish_class
    return [
        (is_film(new) and not is_film(old), _("a film peels off boards that were oiled")),
        (is_film(old) and not is_film(new), _("a penetrating finish cannot get through a film")),
        (
            is_film(new) and old.finish_class != new.finish_class,
            _("a clear and a solid film do not wear alike"),
        ),
        (
            old.base != new.base,
            format_lazy(DOES_NOT_BIND, new=base_label(new), old=base_label(old)),
        ),
        (
            waxed and new.base == Product.Base.WATER,
            _("water-borne finish beads on the wax of a repellent"),
        ),
        (is_lighter(old, new), _("a lighter finish does not cover a darker one")),
    ]


def agreement(old: Product, new: Product) -> StrOrPromise:
    if old.finish_class == new.finish_class:
        words = _("it is of the same class and base ({finish_class}, {base})")
        return format_lazy(
            words, finish_class=lowercase_label(FinishClass, new.finish_class), base=base_label(new)
        )
    return format_lazy(_("it soaks in like the old one and is {base} too"), base=base_label(new))


def is_film(product: Product) -> bool:
    return product.finish_class in FILM_FINISHES


def strip_grade(product: Product | None) -> int:
    """The as-found grade from which only a strip will do; a finish that nobody knows may be a
    film."""
    return FILM_STRIP_GRADE if product is None or is_film(product) else OIL_STRIP_GRADE


def is_lighter(old: Product, new: Product) -> bool:
    return PIGMENT_ORDER.index(Product.Pigment(new.pigment)) < PIGMENT_ORDER.index(
        Product.Pigment(old.pigment)
    )


def base_label(product: Product) -> StrOrPromise:
    return lowercase_label(Product.Base, product.base)


def lowercase_label(choices: type[TextChoices], value: str) -> StrOrPromise:
    """In small letters; empty for a value that is none."""
    return lowercase_lazy(dict(choices.choices).get(value, ""))


def finish_distance(old: Product, new: Product) -> tuple[bool, bool, int]:
    """How far a compatible finish is from the old one, for sorting: class, maker, pigment."""
    steps = abs(
        PIGMENT_ORDER.index(Product.Pigment(new.pigment))
        - PIGMENT_ORDER.index(Product.Pigment(old.pigment))
    )
    return (
        new.finish_class != old.finish_class,
        new.maker.casefold() != old.maker.casefold(),
        steps,
    )
