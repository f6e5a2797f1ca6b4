"""Drafting offers: rows of the book → frozen inputs of jobs.offers.pricing → the rows of an offer,
not yet saved."""

from jobs.offers.drafting import (
    DraftedOffer,
    draft_offer,
    drafted_line_row,
    offer_tax_rows,
)
from jobs.offers.hour_estimates import (
    DeckHours,
    DeckListPrice,
    list_prices_by_deck,
    work_hours_by_deck,
)
from jobs.offers.ledger import (
    JOB_COLUMNS,
    LEDGER_TABLES,
    OFFER_COLUMNS,
    JobLedger,
    JobMoney,
    accepted_offer_rows,
    done_job_rows,
    jobs_with_money,
    money_of_job,
)
from jobs.offers.link_expiry import is_offer_link_expired
from jobs.offers.outlook import WAITING_MONTHS, DeckOutlook, OfferBrief, Outlook
from jobs.offers.page import (
    DEAD_LINK_STATES,
    OfferPage,
    bookable_weeks,
    build_offer_page,
    contract_places,
    is_offer_bookable,
    offer_by_token_hash,
    offer_withdrawal_right,
    week_text,
    weeks_for_work,
)
from jobs.offers.pricing import (
    PricedLine,
    PricingError,
    Totals,
    rounded_line,
    totals_of_lines,
    with_tax_names,
)
from jobs.offers.pricing_inputs import DraftingContext, drafting_context, prices_from_list
from jobs.offers.terms import current_terms
from jobs.offers.waiting_cost import strip_scopes

__all__ = [
    "DEAD_LINK_STATES",
    "JOB_COLUMNS",
    "LEDGER_TABLES",
    "OFFER_COLUMNS",
    "WAITING_MONTHS",
    "DeckHours",
    "DeckListPrice",
    "DeckOutlook",
    "DraftedOffer",
    "DraftingContext",
    "JobLedger",
    "JobMoney",
    "OfferBrief",
    "OfferPage",
    "Outlook",
    "PricedLine",
    "PricingError",
    "Totals",
    "accepted_offer_rows",
    "bookable_weeks",
    "build_offer_page",
    "contract_places",
    "current_terms",
    "done_job_rows",
    "draft_offer",
    "drafted_line_row",
    "drafting_context",
    "is_offer_bookable",
    "is_offer_link_expired",
    "jobs_with_money",
    "list_prices_by_deck",
    "money_of_job",
    "offer_by_token_hash",
    "offer_tax_rows",
    "offer_withdrawal_right",
    "prices_from_list",
    "rounded_line",
    "strip_scopes",
    "totals_of_lines",
    "week_text",
    "weeks_for_work",
    "with_tax_names",
    "work_hours_by_deck",
]
