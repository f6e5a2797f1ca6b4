"""What people write in a cell → values; what cannot be read raises UnreadableCell with a word on
what may stand there. Pure: neither the database nor the settings are asked."""

from clients.doubles import name_key, street_key
from jobs.importing.cells.addresses import (
    POSTCODES,
    AddressRead,
    region_key,
    split_address,
)
from jobs.importing.cells.capitals import calm_capitals
from jobs.importing.cells.contacts import (
    EMAIL_LIKE,
    PhoneRead,
    area_code_of,
    needs_area_code,
    read_emails,
    read_name,
    read_phones,
)
from jobs.importing.cells.finishes import (
    AMOUNTS,
    COLOUR_WORDS,
    FinishRead,
    finish_class_of,
    finish_in_work,
    group_spellings,
    is_colour_word,
    product_kind_of,
    read_finish,
    spelling_score,
)
from jobs.importing.cells.numbers import (
    Area,
    is_blank,
    plain_number,
    read_area,
    read_coats,
    read_litres,
    read_money,
    size_in_words,
)
from jobs.importing.cells.problems import UnreadableCell
from jobs.importing.cells.spans import (
    Calendar,
    month_numbers,
    order_evidence,
    read_span,
    read_spans,
    short_date,
)
from jobs.importing.cells.timber import (
    TimberRead,
    deck_name,
    names_timber,
    read_timber,
    timber_word,
)
from jobs.importing.cells.work import PLANS, PastWork, coats_within, read_kind, read_past_work

__all__ = [
    "AMOUNTS",
    "COLOUR_WORDS",
    "EMAIL_LIKE",
    "PLANS",
    "POSTCODES",
    "AddressRead",
    "Area",
    "Calendar",
    "FinishRead",
    "PastWork",
    "PhoneRead",
    "TimberRead",
    "UnreadableCell",
    "area_code_of",
    "calm_capitals",
    "coats_within",
    "deck_name",
    "finish_class_of",
    "finish_in_work",
    "group_spellings",
    "is_blank",
    "is_colour_word",
    "month_numbers",
    "name_key",
    "names_timber",
    "needs_area_code",
    "order_evidence",
    "plain_number",
    "product_kind_of",
    "read_area",
    "read_coats",
    "read_emails",
    "read_finish",
    "read_kind",
    "read_litres",
    "read_money",
    "read_name",
    "read_past_work",
    "read_phones",
    "read_span",
    "read_spans",
    "read_timber",
    "region_key",
    "short_date",
    "size_in_words",
    "spelling_score",
    "split_address",
    "street_key",
    "timber_word",
]
