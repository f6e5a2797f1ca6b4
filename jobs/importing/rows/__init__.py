"""What the rows of a list say, and what has to be asked about them."""

from jobs.importing.rows.doubts import Answers, Doubt, DoubtEntry, find_doubts
from jobs.importing.rows.facts import BookFacts, ClientCells, KnownProduct, ListFacts
from jobs.importing.rows.row_reader import RowReader
from jobs.importing.rows.same_clients import pair_key
from jobs.importing.rows.values import (
    ClientRead,
    CoatRead,
    DeckRead,
    JobRead,
    ListRow,
    SiteRead,
    UnitRead,
)

__all__ = [
    "Answers",
    "BookFacts",
    "ClientCells",
    "ClientRead",
    "CoatRead",
    "DeckRead",
    "Doubt",
    "DoubtEntry",
    "JobRead",
    "KnownProduct",
    "ListFacts",
    "ListRow",
    "RowReader",
    "SiteRead",
    "UnitRead",
    "find_doubts",
    "pair_key",
]
