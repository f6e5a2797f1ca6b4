"""Which finish holds over which: rules of common practice without a source; both data sheets go before them."""

from dataclasses import dataclass

from django.db.models import TextChoices
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.languages import Words
from jobs.models import Product
from jobs.models.product import FinishClass

FILMS = {FinishClass.SOLID_FILM, FinishClass.CLEAR_FILM}
BINDS_NOT = _("a {new} finish does not bind to a {old} one")
lowered = lazy(lambda words: str(words).lower(), str)
PIGMENT = [Product.Pigment.NONE, Product.Pigment.LIGHT, Product.Pigment.DARK]


@dataclass(frozen=True)
class Verdict:
    """Whether one finish holds over another without a strip, and why, as the end of a sentence."""

    holds: bool
    why: Words


def over(old: Product, new: Product) -> Verdict:
    """What happens when `new` goes on a clean deck that still wears `old`."""
    if old == new:
        return Verdict(True, _("it is the finish on the boards"))
    against = [text for applies, text in objections(old, new) if applies]
    return Verdict(False, against[0]) if against else Verdict(True, agreement(old, new))


def objections(old: Product, new: Product) -> list[tuple[bool, Words]]:
    """Most serious first."""
    waxed = old.finish_class == FinishClass.CLEAR_REPELLENT and old.finish_class != new.finish_class
    return [
        (is_film(new) and not is_film(old), _("a film peels off boards that were oiled")),
        (is_film(old) and not is_film(new), _("a penetrating finish cannot get through a film")),
        (is_film(new) and old.finish_class != new.finish_class, _("a clear and a solid film do not wear alike")),
        (old.base != new.base, format_lazy(BINDS_NOT, new=base(new), old=base(old))),
        (waxed and new.base == Product.Base.WATER, _("water-borne finish beads on the wax of a repellent")),
        (is_lighter(old, new), _("a lighter finish does not cover a darker one")),
    ]


def agreement(old: Product, new: Product) -> Words:
    if old.finish_class == new.finish_class:
        words = _("it is of the same class and base ({finish_class}, {base})")
        return format_lazy(words, finish_class=label(FinishClass, new.finish_class), base=base(new))
    return format_lazy(_("it soaks in like the old one and is {base} too"), base=base(new))


def is_film(product: Product) -> bool:
    return product.finish_class in FILMS


def is_lighter(old: Product, new: Product) -> bool:
    return PIGMENT.index(Product.Pigment(new.pigment)) < PIGMENT.index(Product.Pigment(old.pigment))


def base(product: Product) -> Words:
    return label(Product.Base, product.base)


def label(choices: type[TextChoices], value: str) -> Words:
    """In small letters; empty for a value that is none."""
    return lowered(dict(choices.choices).get(value, ""))


def distance(old: Product, new: Product) -> tuple[bool, bool, int]:
    """How far a compatible finish is from the old one, for sorting: class, maker, pigment."""
    steps = abs(PIGMENT.index(Product.Pigment(new.pigment)) - PIGMENT.index(Product.Pigment(old.pigment)))
    return (new.finish_class != old.finish_class, new.maker.casefold() != old.maker.casefold(), steps)
