"""What of the table is asked for: everything stands in the address, so that it can be kept."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from urllib.parse import urlencode

from clients.models import Channel, is_primary_key
from reminders.today.deck_status import DECK_TABS

DEFAULT_TAB = "remind"
DEFAULT_SORT = "worth"
SORT_KEYS = ("worth", "client", "town", "coat", "state", "size", "price", "contact")
NO_WAY = "none"  # of the filter by way: nobody may be written to
MAX_SEARCH_LENGTH = 100


@dataclass(frozen=True)
class TableRequest:
    """The tab, the order and the filters of the table; what is nonsense in an address is left
    out."""

    tab: str = DEFAULT_TAB
    sort: str = DEFAULT_SORT
    q: str = ""
    town: str = ""
    product: str = ""
    way: str = ""
    crew: str = ""

    @classmethod
    def from_address(cls, data: Mapping[str, str]) -> "TableRequest":
        asked = {each.name: data.get(each.name, "").strip() for each in fields(cls)}
        checked = {
            "tab": asked["tab"] if asked["tab"] in DECK_TABS else DEFAULT_TAB,
            "sort": asked["sort"] if asked["sort"].lstrip("-") in SORT_KEYS else DEFAULT_SORT,
            "q": asked["q"][:MAX_SEARCH_LENGTH],
            "way": asked["way"] if asked["way"] in {*Channel.values, NO_WAY} else "",
        }
        for name in ("product", "crew"):
            checked[name] = asked[name] if is_primary_key(asked[name]) else ""
        return cls(**(asked | checked))

    @property
    def is_filtered(self) -> bool:
        return bool(self.q or self.town or self.product or self.way or self.crew)

    @property
    def is_descending(self) -> bool:
        return self.sort.startswith("-")

    @property
    def sort_key(self) -> str:
        return self.sort.lstrip("-")

    @property
    def query(self) -> str:
        """As in an address; what is as usual is left out."""
        usual = TableRequest()
        own = {each.name: getattr(self, each.name) for each in fields(self)}
        return urlencode({name: at for name, at in own.items() if at != getattr(usual, name)})

    def query_on(self, page: int) -> str:
        """The same on one page of the list."""
        return f"{self.query}&page={page}" if self.query else f"page={page}"

    def query_with(self, **changes: str) -> str:
        return replace(self, **changes).query

    def sorted_by(self, key: str) -> str:
        """The address of the same list in that order; the other way round if it is already."""
        return self.query_with(sort=f"-{key}" if self.sort == key else key)
