"""Looking things up: decks by words, years, work and states, and what went on them."""

from jobs.search.finding import (
    AskedDecks,
    SearchHit,
    SearchResult,
    find_decks,
    read_question,
)
from jobs.search.histories import (
    AnsweringHistory,
    CoatRecord,
    coat_records_by_deck,
    split_history,
)
from jobs.search.questions import (
    FIRST_YEAR,
    LAST_YEAR,
    NO_FILTERS,
    QuestionPart,
    SearchFilters,
    Topic,
    parse_question,
    split_words,
)
from jobs.search.refreshing import (
    note_unwritten,
    refresh_search,
    search_later,
    write_noted_words,
)

__all__ = [
    "FIRST_YEAR",
    "LAST_YEAR",
    "NO_FILTERS",
    "AnsweringHistory",
    "AskedDecks",
    "CoatRecord",
    "QuestionPart",
    "SearchFilters",
    "SearchHit",
    "SearchResult",
    "Topic",
    "coat_records_by_deck",
    "find_decks",
    "note_unwritten",
    "parse_question",
    "read_question",
    "refresh_search",
    "search_later",
    "split_history",
    "split_words",
    "write_noted_words",
]
