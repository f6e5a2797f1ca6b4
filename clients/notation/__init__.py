"""How people write it and how it is kept: countries, languages, phones, addresses of both posts,
numbers with their units, and the spaces and marks of print."""

from clients.notation.countries import validate_time_zone
from clients.notation.emails import INVISIBLE_CHARACTERS, EmailError, parse_email_address
from clients.notation.languages import (
    StrOrPromise,
    ngettext_lazy,
    primary_language,
    supported_language,
)
from clients.notation.map_links import fill_map_link, validate_map_link
from clients.notation.phones import PhoneError, parse_phone
from clients.notation.storable import make_storable, storable_fields, storable_text
from clients.notation.typed_numbers import TypedNumber, read_typed_number
from clients.notation.typography import NARROW, NO_BREAK
from clients.notation.units import (
    AREA,
    FOOT,
    LENGTH,
    QUANTITIES,
    SQUARE_FOOT,
    US_GALLON,
    VOLUME,
    Units,
)

__all__ = [
    "AREA",
    "FOOT",
    "INVISIBLE_CHARACTERS",
    "LENGTH",
    "NARROW",
    "NO_BREAK",
    "QUANTITIES",
    "SQUARE_FOOT",
    "US_GALLON",
    "VOLUME",
    "EmailError",
    "PhoneError",
    "StrOrPromise",
    "TypedNumber",
    "Units",
    "fill_map_link",
    "make_storable",
    "ngettext_lazy",
    "parse_email_address",
    "parse_phone",
    "primary_language",
    "read_typed_number",
    "storable_fields",
    "storable_text",
    "supported_language",
    "validate_map_link",
    "validate_time_zone",
]
