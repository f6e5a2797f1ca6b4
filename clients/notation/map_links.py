"""The address of a map on the web, with places for the property that it is to show."""

import re
from urllib.parse import quote

from django.core.exceptions import ValidationError

MAP_PLACES = ("address", "lat", "lon")


def validate_map_link(link: str) -> None:
    """Refuse what leads to no property."""
    named = set(re.findall(r"\{([^{}]*)\}", link))
    is_whole = "address" in named or {"lat", "lon"} <= named
    if not link.startswith("https://") or not is_whole or named - set(MAP_PLACES):
        raise ValidationError(
            "Begin with https:// and put {address}, or {lat} and {lon}, where the map"
            " expects them.",
            code="map_link",
        )


def fill_map_link(link: str, *, address: str, latitude: float, longitude: float) -> str:
    """With an address on one line and degrees, as the web writes them (RFC 3986)."""
    values = {
        "address": quote(address, safe=""),
        "lat": f"{latitude:.5f}",
        "lon": f"{longitude:.5f}",
    }
    for name, value in values.items():
        link = link.replace(f"{{{name}}}", value)
    return link
