"""The table that comes with the program (table.toml) as rules."""

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from clients.messaging.law.rule import LegalRule
from clients.models.channel import traits_of

DEFAULT_JURISDICTION = "DEFAULT"
IMPLIED_BASES = ("customer", "inquiry")


@cache
def law_table() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "table.toml").read_text(encoding="utf-8"))


def law_table_as_of() -> date:
    found: date = law_table()["table_of"]
    return found


@cache
def country_group(country: str) -> str:
    """The group of countries with rules in common that this one belongs to, empty if none."""
    return next(
        (group for group, members in law_table()["groups"].items() if country in members), ""
    )


@cache
def table_rules() -> tuple[LegalRule, ...]:
    return tuple(make_rule(row) for row in law_table()["rule"])


def rules_for_medium(medium: str) -> list[LegalRule]:
    """Those of a channel, or of the one that it counts as."""
    counts_as = traits_of(medium).law or medium
    found = [rule for rule in table_rules() if rule.medium == counts_as]
    return [replace(rule, medium=medium) for rule in found] if counts_as != medium else found


def make_rule(row: Mapping[str, Any], *, is_own: bool = False) -> LegalRule:
    """A rule from a row of the table or from one of the owner's; implied bases always end."""
    values = dict(row)
    limit = int(law_table()["house_limit_months"])
    bases = frozenset(values.pop("bases"))
    months = {basis: limit for basis in IMPLIED_BASES if basis in bases} | dict(
        values.pop("months", {})
    )
    window = values.pop("window", None)
    contents = tuple(values.pop("must_include"))
    return LegalRule(
        bases=bases,
        months=months,
        window_local=window,
        must_include=contents,
        is_own=is_own,
        **values,
    )
