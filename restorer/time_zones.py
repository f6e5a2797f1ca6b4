"""One database of time zones for every process: the `tzdata` package, never the machine's own."""

import os
import re
import zoneinfo
from datetime import UTC, date, datetime, timedelta
from functools import cache
from importlib.resources import files

import tzdata

ZONES_VERSION = tzdata.IANA_VERSION
ZONES_OLD_AFTER = timedelta(days=365)


def use_packaged_zones() -> None:
    """In this process and all that it starts (docs/decisions/0025)."""
    os.environ["PYTHONTZPATH"] = ""
    zoneinfo.reset_tzpath(to=[])
    zoneinfo.ZoneInfo.clear_cache()


@cache
def zones_release_date() -> date:
    """The last day of which the database itself tells; it was released on that day or later.

    A release bears no day, only a year and a letter; its list of leap seconds, renewed each
    January and July, does: “#updated 1783323897 (2026-07-06 07:44:57 UTC)” in 2026f.
    """
    leap_seconds = (files("tzdata.zoneinfo") / "leapseconds").read_text()
    told = re.search(r"^#updated (\d+)", leap_seconds, re.MULTILINE)
    year_began = date(int(ZONES_VERSION[:4]), 1, 1)
    return max(year_began, datetime.fromtimestamp(int(told[1]), UTC).date()) if told else year_began


def are_zones_old(today: date) -> bool:
    """Clocks are changed by law, at times at short notice: after a year it is wrong somewhere."""
    return today - zones_release_date() > ZONES_OLD_AFTER
