"""Clients that are one client, written down twice: how alike two are, and which the book holds."""

from clients.doubles.finding import (
    LikelyDouble,
    LikelyPair,
    clients_like,
    compare_clients,
    doubles_of,
    likely_doubles,
    likely_pairs,
)
from clients.doubles.keeping import is_large_client_list, kept_pairs, look_through_book
from clients.doubles.likeness import (
    ASK_FROM,
    MAX_SHARING,
    ONE_FROM,
    client_likeness,
    name_key,
    phone_mark,
    street_key,
    street_mark,
)

__all__ = [
    "ASK_FROM",
    "MAX_SHARING",
    "ONE_FROM",
    "LikelyDouble",
    "LikelyPair",
    "client_likeness",
    "clients_like",
    "compare_clients",
    "doubles_of",
    "is_large_client_list",
    "kept_pairs",
    "likely_doubles",
    "likely_pairs",
    "look_through_book",
    "name_key",
    "phone_mark",
    "street_key",
    "street_mark",
]
