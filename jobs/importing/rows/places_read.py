"""Where a row says that the deck is."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from jobs.importing.cells import AddressRead, calm_capitals, split_address
from jobs.importing.columns import COLUMNS_BY_NAME
from jobs.importing.gazetteer import KnownTown
from jobs.importing.rows.facts import BookFacts
from jobs.importing.rows.values import SiteRead, UnitRead

if TYPE_CHECKING:
    from jobs.importing.rows.doubts import Answers
    from jobs.importing.rows.row_reader import Cells

MAX_STREET = 200
MAX_TOWN = 120
MAX_SPLIT = 5_000  # addresses that are kept as parts


class PlaceReader:
    """Addresses in one cell or several; towns that are not known by the answers."""

    def __init__(self, own_towns: Sequence[int], book: BookFacts, answers: "Answers") -> None:
        self.own_towns = own_towns  # columns of towns that do not head a group
        self.book = book
        self.answers = answers
        self.towns_by_pk = {
            str(town.pk): town for towns in book.gazetteer.towns.values() for town in towns
        }
        self.split: dict[str, AddressRead] = {}  # of the last rows: neighbours are often one client
        self.known: dict[tuple[str, str], KnownTown | None] = {}

    def assumed(self, unit: UnitRead) -> SiteRead | None:
        """Of a list without a column for places, as accounts are: a street that nobody knows, where
        the business is; None where that is not known either."""
        town = self.book.gazetteer.find(self.book.town, self.book.gazetteer.home_region)
        if town is None:
            return None
        unit.remarks.append(f"The list has no addresses: the weather of {town.name} is taken.")
        site = self.by_town(AddressRead(), town)
        site.is_assumed = True
        return site

    def by_town(self, address: AddressRead, town: KnownTown) -> SiteRead:
        return SiteRead(
            calm_capitals(address.street)[:MAX_STREET],
            calm_capitals((address.town or town.name)[:MAX_TOWN]),
            address.region or town.region,
            address.postcode,
            self.book.country,
            town.latitude,
            town.longitude,
            town.time_zone,
        )

    def read(self, cells: "Cells", unit: UnitRead) -> SiteRead | None:
        """None where the row has no address at all."""
        address = self.address(cells)
        if not any((address.street, address.town, address.region, address.postcode)):
            return None
        latitude = cells.first("latitude")
        longitude = cells.first("longitude")
        town = self.town(address, unit)
        if latitude and longitude:
            name = (address.town or (town.name if town else self.book.town))[:MAX_TOWN]
            return self.exact(address, name, latitude, longitude)
        if town is None:
            unit.problems["town"] = (
                f"“{address.town}” is not a town we know. Write a larger town near it."
            )
            return None
        return self.by_town(address, town)

    def address(self, cells: "Cells") -> AddressRead:
        """Own columns first; what they leave open comes from the whole address."""
        street = " ".join(filter(None, [cells.first("house_number"), cells.first("street")]))
        whole = cells.first("address") or street
        found = self.parts_of(whole)
        town, _, rest = cells.first("town").partition(",")
        region = cells.first("region") or rest.strip()
        if not street or cells.first("address") or not town:
            street = found.street
        return AddressRead(
            street or ("" if found.town else whole),
            found.town if found.town and not self.has_own_town(cells) else town or found.town,
            self.book.gazetteer.region(region) or region or found.region,
            cells.first("postcode") or found.postcode,
        )

    def parts_of(self, whole: str) -> AddressRead:
        if len(self.split) >= MAX_SPLIT:
            self.split.clear()
        if whole not in self.split:
            self.split[whole] = split_address(
                whole,
                country=self.book.country,
                regions=self.book.gazetteer.regions,
                is_town=self.book.gazetteer.is_town,
            )
        return self.split[whole]

    def has_own_town(self, cells: "Cells") -> bool:
        """A town beside the address, not one that heads a group of rows: that gives way."""
        row = cells.row.cells
        return any(at < len(row) and row[at] for at in self.own_towns)

    def town(self, address: AddressRead, unit: UnitRead) -> KnownTown | None:
        key = (address.town, address.region)
        if key not in self.known:
            self.known[key] = self.find(*key)
        found = self.known[key]
        if found and address.town and found.name.casefold() != address.town.casefold():
            unit.remarks.append(f"{address.town}: the weather of {found.name} is taken.")
        return found

    def find(self, name: str, region: str) -> KnownTown | None:
        """The town of that name, else the one that was answered, else the one at home."""
        exact = self.book.gazetteer.find(name, region) if name else None
        if exact:
            return exact
        asked = self.towns_by_pk.get(self.answers.get("towns", name))
        if asked:
            return asked
        anywhere = self.book.gazetteer.find(name) if name else None
        if anywhere:
            return anywhere
        close = self.book.gazetteer.likest(name or self.book.town, region)
        return close[0] if close else None

    def exact(self, address: AddressRead, town: str, latitude: str, longitude: str) -> SiteRead:
        from clients.places import towns  # loads the tree of all towns: only where it is needed

        north = float(COLUMNS_BY_NAME["latitude"].read(latitude))
        east = float(COLUMNS_BY_NAME["longitude"].read(longitude))
        zone = towns.nearest_zone(north, east).time_zone
        return SiteRead(
            address.street[:MAX_STREET],
            town,
            address.region,
            address.postcode,
            self.book.country,
            north,
            east,
            zone,
        )
