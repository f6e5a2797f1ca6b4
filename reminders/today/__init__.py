"""What the page Today shows: what waits for a person, and where every deck stands."""

from reminders.today.deck_status import DECK_TABS, current_rule
from reminders.today.deck_table import (
    MAX_CHOSEN_ROWS,
    MAX_EXPORTED_ROWS,
    ROWS_A_PAGE,
    DeckTable,
    TodayDeck,
    household_count,
    price_sum,
)
from reminders.today.inbox import Inbox, count_inbox, read_inbox
from reminders.today.setup_steps import FULL_BOOK_DECKS, setup_steps
from reminders.today.table_request import NO_WAY, TableRequest
from reminders.today.town_map import read_town_map
from reminders.today.work_ahead import bookings_ahead, open_offers

__all__ = [
    "DECK_TABS",
    "FULL_BOOK_DECKS",
    "MAX_CHOSEN_ROWS",
    "MAX_EXPORTED_ROWS",
    "NO_WAY",
    "ROWS_A_PAGE",
    "DeckTable",
    "Inbox",
    "TableRequest",
    "TodayDeck",
    "bookings_ahead",
    "count_inbox",
    "current_rule",
    "household_count",
    "open_offers",
    "price_sum",
    "read_inbox",
    "read_town_map",
    "setup_steps",
]
