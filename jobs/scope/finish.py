"""Which finish goes on next: the one of last time, a compatible one with the reason, or another after a strip."""

from dataclasses import dataclass

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.languages import Words
from jobs.models import CoatApplied, Product
from jobs.scope.compatibility import distance, over
from jobs.scope.history import History
from jobs.scope.parts import Wish
from jobs.scope.shelf import Shelf

UNKNOWN = "No finish is in the book for this deck. Look at it before the price stands."
LIGHTER = (
    "Another colour than last time: a darker one covers, a lighter one shows the old. Only a strip makes it lighter."
)
SHEETS = "Check both data sheets and try a corner first."


@dataclass(frozen=True)
class Choice:
    """A finish and colour; `needs_strip` says that it does not hold over what is on the boards, `reason` why."""

    product: Product | None
    colour: str = ""
    same_as_last: bool = False
    needs_strip: bool = False
    reason: Words = ""
    warning: str = ""


def choose(history: History, shelf: Shelf, wish: Wish) -> Choice:
    last = history.last_coat
    if last is None:
        product = wish.product or shelf.usual(Product.Kind.FINISH)
        return Choice(product, wish.colour or first_colour(product), warning=UNKNOWN)
    if wish.product and wish.product != last.product:
        return another(last, wish.product, wish.colour)
    if last.product.is_active or wish.product:
        return same(last, wish)
    return replacement(last, shelf, wish)


def same(last: CoatApplied, wish: Wish) -> Choice:
    """The finish of last time, in its colour or the one that was wished for."""
    if wish.colour and wish.colour.casefold() != last.colour.casefold():
        words = _("{product} as last time, in {colour} instead of {before}.")
        before = last.colour or _("a colour not recorded")
        reason = format_lazy(words, product=last.product, colour=wish.colour, before=before)
        return Choice(last.product, wish.colour, reason=reason, warning=LIGHTER)
    reason = format_lazy(_("{finish}, as last time."), finish=in_colour(last.product, last.colour))
    return Choice(last.product, last.colour, same_as_last=True, reason=reason, warning=gone_colour(last))


def gone_colour(last: CoatApplied) -> str:
    listed = [colour.casefold() for colour in last.product.colour_list]
    if not last.colour or not listed or last.colour.casefold() in listed:
        return ""
    return f"{last.colour} is not among the colours of {last.product} any more. Ask whether it can still be mixed."


def another(last: CoatApplied, product: Product, colour: str) -> Choice:
    """A finish somebody asked for in place of the old one."""
    verdict, colour = over(last.product, product), colour or kept_colour(last, product)
    if verdict.holds:
        words = _("{finish} goes over {last}: {why}.")
        reason = format_lazy(words, finish=in_colour(product, colour), last=last.product, why=verdict.why)
        return Choice(product, colour, reason=reason, warning=SHEETS)
    words = _("{product} does not hold over {last}: {why}.")
    reason = format_lazy(words, product=product, last=last.product, why=verdict.why)
    return Choice(product, colour, needs_strip=True, reason=reason, warning="Only a strip can change the finish.")


def replacement(last: CoatApplied, shelf: Shelf, wish: Wish) -> Choice:
    """For a finish that is no longer in use: the nearest one that holds over it, else the usual one after a strip."""
    fitting = [product for product in shelf.finishes() if over(last.product, product).holds]
    near = min(fitting, key=lambda product: distance(last.product, product), default=None)
    product = near or shelf.usual(Product.Kind.FINISH)
    if product is None:
        return Choice(None, warning=f"{last.product} is out of use and no finish is in use. Add one under Products.")
    colour = wish.colour or kept_colour(last, product)
    if near:
        words = _("{last} is out of use. {finish} goes over it: {why}.")
        finish, why = in_colour(near, colour), over(last.product, near).why
        reason = format_lazy(words, last=last.product, finish=finish, why=why)
        return Choice(near, colour, reason=reason, warning=SHEETS)
    words = _("{last} is out of use, and nothing in use holds over it: {why}.")
    reason = format_lazy(words, last=last.product, why=over(last.product, product).why)
    return Choice(product, colour, needs_strip=True, reason=reason, warning="Only a strip can change the finish.")


def kept_colour(last: CoatApplied, product: Product) -> str:
    """The old colour if the new finish comes in it, else its first."""
    return next((c for c in product.colour_list if c.casefold() == last.colour.casefold()), first_colour(product))


def first_colour(product: Product | None) -> str:
    return next(iter(product.colour_list), "") if product else ""


def in_colour(product: Product, colour: str) -> Words:
    return format_lazy(_("{product} in {colour}"), product=product, colour=colour) if colour else str(product)
