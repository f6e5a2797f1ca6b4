"""Clients that are one client, written down twice: how alike two are, and which the book holds."""

from clients.doubles.finding import LikelyDouble, clients_like, likely_doubles
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
    "client_likeness",
    "clients_like",
    "likely_doubles",
    "name_key",
    "phone_mark",
    "street_key",
    "street_mark",
]
