"""The actions of price lists. A list that an offer which left the house rests on stays as it is."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db import models, transaction

from clients.actions.saving import holds_values, lock_row, lock_until_commit, save_if_changed
from jobs.models import OfferTerms, PriceList, Rate, Tax, TravelZone

COPIED_LIST_FIELDS = [
    field.attname
    for field in PriceList._meta.concrete_fields
    if field.attname not in {"id", "valid_from", "note", "created_at"}
]
SAME_DAY_MESSAGE = "Another list begins on this day. Choose another, or change that list."


class PriceListError(ValueError):
    """The list cannot be kept so; the text says why.
    `field` names the field it is about, if any."""

    def __init__(self, words: str, field: str = "") -> None:
        super().__init__(words)
        self.field = field


@dataclass(frozen=True)
class PriceListRows:
    """The rows of a list as typed: values by field name."""

    rates: Sequence[Mapping[str, Any]] = field(default_factory=list)
    zones: Sequence[Mapping[str, Any]] = field(default_factory=list)
    taxes: Sequence[Mapping[str, Any]] = field(default_factory=list)


@transaction.atomic
def save_price_list(
    *, price_list: PriceList, values: Mapping[str, Any], rows: PriceListRows
) -> PriceList:
    """Keep a new list or one that no sent offer rests on yet, with all its rows.
    A second click on a new one finds what the first one made. Raises `PriceListError`."""
    lock_until_commit("price lists")
    if price_list.pk:
        price_list = lock_row(price_list)
        require_unsettled_list(price_list)
    same_day = PriceList.objects.filter(valid_from=values["valid_from"]).exclude(pk=price_list.pk)
    if there := same_day.first():
        if price_list.pk is None and holds_values(there, values) and holds_rows(there, rows):
            return there
        raise PriceListError(SAME_DAY_MESSAGE, "valid_from")
    for name, value in values.items():
        setattr(price_list, name, value)
    price_list.save()
    replace_list_rows(Rate, price_list, rows.rates)
    replace_list_rows(TravelZone, price_list, rows.zones)
    replace_list_rows(Tax, price_list, rows.taxes)
    return price_list


def holds_rows(price_list: PriceList, rows: PriceListRows) -> bool:
    """Whether the list has just these rows."""
    parts = ((Rate, rows.rates), (TravelZone, rows.zones), (Tax, rows.taxes))
    for model, wanted in parts:
        there = list(model._default_manager.filter(price_list=price_list).order_by("id"))
        if len(there) != len(wanted):
            return False
        if not all(holds_values(*pair) for pair in zip(there, wanted, strict=True)):
            return False
    return True


def require_unsettled_list(price_list: PriceList) -> None:
    if price_list.is_settled:
        raise PriceListError(
            "Offers that were sent rest on this list, so it stays as it is. Begin a new list."
        )


def replace_list_rows(
    model: type[models.Model], price_list: PriceList, rows: Sequence[Mapping[str, Any]]
) -> None:
    model._default_manager.filter(price_list=price_list).delete()
    for row in rows:
        model._default_manager.create(price_list=price_list, **row)


@transaction.atomic
def remove_price_list(*, price_list: PriceList) -> None:
    """Take away a list on which no offer rests. Raises `PriceListError`."""
    if price_list.offers.exists():
        raise PriceListError("Offers rest on this list, so it stays.")
    price_list.delete()


def new_price_list(*, currency: str, valid_from: date) -> PriceList:
    """A new list like the newest one, not yet saved; its rows are read from `like`."""
    newest = PriceList.objects.first()
    values = (
        {name: getattr(newest, name) for name in COPIED_LIST_FIELDS}
        if newest
        else {"currency": currency}
    )
    return PriceList(**{**values, "valid_from": valid_from})


@transaction.atomic
def save_offer_terms(*, language: str, values: Mapping[str, str]) -> OfferTerms:
    """What stands on the offers of clients who read this language."""
    lock_until_commit("offer terms")
    row = OfferTerms.objects.filter(language=language).first() or OfferTerms(language=language)
    save_if_changed(row, values)
    return row
