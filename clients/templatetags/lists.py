"""From a page that was opened from a list to the next and the previous one, with the list in the
address: it works without scripts and in two windows at once."""

from collections.abc import Iterable
from typing import Any

from django import template
from django.urls import reverse

register = template.Library()
MAX_WALKED = 200
SEPARATOR = "."


@register.filter
def walk_of(rows: Iterable[Any], key: str = "pk") -> str:
    """“among=4.17.2”: the rows of a list for the addresses of their pages, each once."""
    keys = dict.fromkeys(str(getattr(row, key)) for row in rows)
    return f"among={SEPARATOR.join(list(keys)[:MAX_WALKED])}"


@register.inclusion_tag("_neighbours.html", takes_context=True)
def neighbours(context: template.Context, page_name: str, pk: int) -> dict[str, Any]:
    """Nothing where the page was not opened from a list."""
    request = context.get("request")
    asked = request.GET.get("among", "") if request else ""
    keys = [key for key in asked.split(SEPARATOR)[:MAX_WALKED] if key.isdecimal() and len(key) < 19]
    if str(pk) not in keys or len(keys) < 2:
        return {}
    at = keys.index(str(pk))
    walk = f"among={SEPARATOR.join(keys)}"

    def address(key: str) -> str:
        return f"{reverse(page_name, args=[int(key)])}?{walk}"

    return {
        "position": at + 1,
        "count": len(keys),
        "previous": address(keys[at - 1]) if at else "",
        "next": address(keys[at + 1]) if at + 1 < len(keys) else "",
    }
