"""Forms as people fill them: the one-page form of a new client, and the rows of ways to reach
one."""

from typing import Any

from clients.models import Place


def place(
    pk: int, name: str, region: str, country: str, north: float, east: float, zone: str, size: int
) -> Place:
    return Place.objects.create(
        geoname_id=pk,
        name=name,
        ascii_name=name,
        region=region,
        country=country,
        latitude=north,
        longitude=east,
        time_zone=zone,
        population=size,
    )


def rows(*reaches: dict[str, Any]) -> dict[str, Any]:
    data: dict[str, Any] = {"reach-TOTAL_FORMS": len(reaches), "reach-INITIAL_FORMS": len(reaches)}
    for number, reach in enumerate(reaches):
        data |= {f"reach-{number}-{name}": value for name, value in reach.items()}
    return data


def whole(**changes: Any) -> dict[str, Any]:
    """The one-page form, filled."""
    return {
        "client-name": "Marlow Pennington",
        **rows(
            {"kind": "mobile", "value": "902-555-0142"},
            {"kind": "email", "value": "marlow@example.org"},
        ),
        "property-street": "7 Cormorant Lane",
        "property-town": "Lunenburg",
        "property-country": "CA",
        "deck-label": "Back deck",
        "deck-area_m2": "18",
        "deck-species": "treated_pine",
        **changes,
    }


def page(response: Any) -> str:
    return str(response.content.decode())
