"""Which finish goes on next: the one of last time, a compatible one with the reason, or another
after a strip."""

from dataclasses import dataclass

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.notation import StrOrPromise
from jobs.models import Product
from jobs.scope.definitions import Override
from jobs.scope.history import DeckHistory, TopFinish
from jobs.scope.shelf import Shelf
from jobs.work import finish_compatibility, finish_distance

UNKNOWN_FINISH = "No finish is on file for this deck. Look at it before the price stands."
COLOUR_CHANGE_WARNING = (
    "Another colour than last time: a darker one covers, a lighter one shows the old. Only a strip"
    " makes it lighter."
)
CHECK_DATA_SHEETS = "Check both data sheets and try a corner first."


@dataclass(frozen=True)
class FinishChoice:
    """A finish and colour; `needs_strip` says that it does not hold over what is on the boards,
    `reason` why."""

    product: Product | None
    colour: str = ""
    same_as_last: bool = False
    needs_strip: bool = False
    reason: StrOrPromise = ""
    warning: str = ""


def choose_finish(history: DeckHistory, shelf: Shelf, override: Override) -> FinishChoice:
    last = history.last_coat
    if last is None:
        product = override.product or shelf.most_used(Product.Kind.FINISH)
        return FinishChoice(
            product, override.colour or first_colour(product), warning=UNKNOWN_FINISH
        )
    if override.product and override.product != last.product:
        return requested_finish(last, override.product, override.colour)
    if last.product.is_active or override.product:
        return same_finish(last, override)
    return replacement_finish(last, shelf, override)


def same_finish(last: TopFinish, override: Override) -> FinishChoice:
    """The finish of last time, in its colour or the one that was asked for."""
    if override.colour and override.colour.casefold() != last.colour.casefold():
        words = _("{product} as last time, in {colour} instead of {before}.")
        before = last.colour or _("a colour not recorded")
        reason = format_lazy(words, product=last.product, colour=override.colour, before=before)
        return FinishChoice(
            last.product, override.colour, reason=reason, warning=COLOUR_CHANGE_WARNING
        )
    reason = format_lazy(
        _("{finish}, as last time."), finish=finish_in_colour(last.product, last.colour)
    )
    return FinishChoice(
        last.product,
        last.colour,
        same_as_last=True,
        reason=reason,
        warning=discontinued_colour_warning(last),
    )


def discontinued_colour_warning(last: TopFinish) -> str:
    listed = [colour.casefold() for colour in last.product.colour_list]
    if not last.colour or not listed or last.colour.casefold() in listed:
        return ""
    return (
        f"{last.colour} is not among the colours of {last.product} any more. Ask whether it can"
        " still be mixed."
    )


def requested_finish(last: TopFinish, product: Product, colour: str) -> FinishChoice:
    """A finish somebody asked for in place of the old one."""
    verdict = finish_compatibility(last.product, product)
    colour = colour or matching_colour(last, product)
    if verdict.holds:
        words = _("{finish} goes over {last}: {why}.")
        reason = format_lazy(
            words, finish=finish_in_colour(product, colour), last=last.product, why=verdict.why
        )
        return FinishChoice(product, colour, reason=reason, warning=CHECK_DATA_SHEETS)
    words = _("{product} does not hold over {last}: {why}.")
    reason = format_lazy(words, product=product, last=last.product, why=verdict.why)
    return FinishChoice(
        product,
        colour,
        needs_strip=True,
        reason=reason,
        warning="Only a strip can change the finish.",
    )


def replacement_finish(last: TopFinish, shelf: Shelf, override: Override) -> FinishChoice:
    """For a finish that is no longer in use:
    the nearest one that holds over it, else the usual one after a strip."""
    fitting = [
        product for product in shelf.finishes() if finish_compatibility(last.product, product).holds
    ]
    near = min(fitting, key=lambda product: finish_distance(last.product, product), default=None)
    product = near or shelf.most_used(Product.Kind.FINISH)
    if product is None:
        return FinishChoice(
            None,
            warning=(
                f"{last.product} is out of use and no finish is in use. Add one under Products."
            ),
        )
    colour = override.colour or matching_colour(last, product)
    if near:
        words = _("{last} is out of use. {finish} goes over it: {why}.")
        finish = finish_in_colour(near, colour)
        why = finish_compatibility(last.product, near).why
        reason = format_lazy(words, last=last.product, finish=finish, why=why)
        return FinishChoice(near, colour, reason=reason, warning=CHECK_DATA_SHEETS)
    words = _("{last} is out of use, and nothing in use holds over it: {why}.")
    reason = format_lazy(
        words, last=last.product, why=finish_compatibility(last.product, product).why
    )
    return FinishChoice(
        product,
        colour,
        needs_strip=True,
        reason=reason,
        warning="Only a strip can change the finish.",
    )


def matching_colour(last: TopFinish, product: Product) -> str:
    """The old colour if the new finish comes in it, else its first."""
    return next(
        (c for c in product.colour_list if c.casefold() == last.colour.casefold()),
        first_colour(product),
    )


def first_colour(product: Product | None) -> str:
    return next(iter(product.colour_list), "") if product else ""


def finish_in_colour(product: Product, colour: str) -> StrOrPromise:
    return (
        format_lazy(_("{product} in {colour}"), product=product, colour=colour)
        if colour
        else str(product)
    )
