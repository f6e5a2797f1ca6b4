"""The table that comes with the program (table.toml) as rules."""

import tomllib
from collections.abc import Mapping
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from clients.messaging.law.rule import Rule

DEFAULT = "DEFAULT"
IMPLIED = ("customer", "inquiry")


@cache
def data() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "table.toml").read_text(encoding="utf-8"))


def table_of() -> date:
    found: date = data()["table_of"]
    return found


@cache
def group_of(country: str) -> str:
    """The group of countries with rules in common that this one belongs to, empty if none."""
    return next((group for group, members in data()["groups"].items() if country in members), "")


@cache
def rules() -> tuple[Rule, ...]:
    return tuple(make(row) for row in data()["rule"])


def make(row: Mapping[str, Any], *, is_own: bool = False) -> Rule:
    """A rule from a row of the table or from one of the owner's; implied bases always end."""
    values = dict(row)
    limit = int(data()["house_limit_months"])
    bases = frozenset(values.pop("bases"))
    months = {basis: limit for basis in IMPLIED if basis in bases} | dict(values.pop("months", {}))
    window = values.pop("window", None)
    contents = tuple(values.pop("must_include"))
    return Rule(bases=bases, months=months, window_local=window, must_include=contents, is_own=is_own, **values)
