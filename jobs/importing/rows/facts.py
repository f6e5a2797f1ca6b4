"""What the book knows already, and what the list says as a whole."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from jobs.importing.gazetteer import Gazetteer


@dataclass(frozen=True, slots=True)
class KnownProduct:
    """A product of the book."""

    name: str
    kind: str
    finish_class: str
    colours: tuple[str, ...] = ()


@dataclass(frozen=True)
class BookFacts:
    """What reading goes by. Nothing here changes while a list is read."""

    gazetteer: Gazetteer
    today: date
    country: str
    currency: str
    town: str = ""
    area_code: str = ""
    is_metric: bool = True
    products: Sequence[KnownProduct] = ()

    @property
    def is_south(self) -> bool:
        return self.gazetteer.home is not None and self.gazetteer.home[0] < 0

    @cached_property
    def colours(self) -> frozenset[str]:
        return frozenset(
            colour.casefold() for product in self.products for colour in product.colours
        )

    def product(self, name: str) -> KnownProduct | None:
        wanted = name.casefold()
        return next((each for each in self.products if each.name.casefold() == wanted), None)


@dataclass(frozen=True, slots=True)
class ClientCells:
    """The cells of a row that tell who it is: for finding doubles."""

    name: str
    phones: str
    emails: str
    street: str


@dataclass
class ListFacts:
    """How often each text stands in each column, and who the clients are."""

    heads: Sequence[str]
    mapping: Sequence[str]
    counts: dict[int, Counter[str]] = field(default_factory=dict)
    clients: Sequence[ClientCells] = ()

    def columns(self, *names: str) -> list[int]:
        return [at for at, name in enumerate(self.mapping) if name in names]

    def counted(self, *names: str) -> Counter[str]:
        """Texts of all columns that tell one of these, with how often each stands there."""
        total: Counter[str] = Counter()
        for at in self.columns(*names):
            total.update(self.counts.get(at, Counter()))
        total.pop("", None)
        return total
