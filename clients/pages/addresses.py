"""Addresses of pages, hundreds on a page: looked up once a process for each page, the numbers of
rows put in."""

from collections.abc import Sequence
from functools import lru_cache

from django.urls import NoReverseMatch, get_script_prefix, get_urlconf, reverse

FIRST_SAMPLE = 900_000_001  # numbers that stand in no address by themselves


def page_address(view_name: str, numbers: Sequence[int] = (), *, current_app: str = "") -> str:
    """As `django.urls.reverse` has it of whole numbers from zero up, and as it fails."""
    pattern = address_pattern(
        view_name, len(numbers), current_app, get_urlconf(), get_script_prefix()
    )
    if not pattern or min(numbers, default=0) < 0:
        return reverse(view_name, args=numbers, current_app=current_app or None)
    return pattern % tuple(numbers)


@lru_cache(maxsize=1_000)
def address_pattern(
    view_name: str, count: int, current_app: str, urlconf: str | None, prefix: str
) -> str:
    """The address with %d for its numbers; empty if they do not stand in it in order, as they are,
    once each. `prefix` is in the address, whoever set it."""
    samples = range(FIRST_SAMPLE, FIRST_SAMPLE + count)
    try:
        address = reverse(view_name, urlconf, args=samples, current_app=current_app or None)
    except NoReverseMatch:
        return ""
    pattern = address.replace("%", "%%")
    for sample in samples:
        pattern = pattern.replace(str(sample), "%d")
    is_same = pattern.count("%d") == count and pattern % tuple(samples) == address
    return pattern if is_same else ""
