"""Decks with a past for the tests of scopes:
products, coats, and what is proposed on a day in July."""

from datetime import date
from typing import Any

from clients.models import Deck
from jobs.models import Job, Product
from jobs.scope import Need, Override, Scope, propose_scope
from tests.factories import CoatFactory, JobFactory, ProductFactory

TODAY = date(2026, 7, 6)


def finish(name: str, **values: Any) -> Product:
    return ProductFactory(name=name, **values)


def helper(kind: str, **values: Any) -> Product:
    fields = {
        "name": f"Kelp {kind}",
        "kind": kind,
        "finish_class": "",
        "colours": "",
        "spread_m2_per_l": None,
    }
    return ProductFactory(**{**fields, **values})


def coated(
    deck: Deck, product: Product, *, coats: int = 2, on: date = date(2025, 6, 12), **values: Any
) -> Job:
    job = JobFactory(deck=deck, finished_on=on, kind=values.pop("kind", "strip"))
    CoatFactory(**{"job": job, "product": product, "coats": coats, "litres": None, **values})
    return job


def scope(deck: Deck, **override: Any) -> Scope:
    return propose_scope(deck, today=TODAY, override=Override(**override))


def need(found: Scope, what: str) -> Need:
    return next(need for need in found.needs if need.what == what)
