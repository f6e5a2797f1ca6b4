"""Some towns of Nova Scotia, where a list needs them; positions rounded, GeoNames (CC BY 4.0)."""

from clients.models import Place

TOWNS = [
    ("Lunenburg", 44.38, -64.31, 2_263),
    ("Mahone Bay", 44.45, -64.38, 943),
    ("Chester", 44.54, -64.24, 1_231),
    ("Bridgewater", 44.37, -64.52, 8_532),
    ("Halifax", 44.65, -63.57, 439_819),
]


def add_towns() -> None:
    Place.objects.bulk_create(
        Place(
            geoname_id=at,
            name=name,
            ascii_name=name,
            region="Nova Scotia",
            country="CA",
            latitude=latitude,
            longitude=longitude,
            time_zone="America/Halifax",
            population=population,
        )
        for at, (name, latitude, longitude, population) in enumerate(TOWNS, start=1)
    )
