"""What the law of sender and recipient asks of a reminder or an offer: dated data, never advice;
local law decides."""

from clients.messaging.law.contracts import (
    ContractLanguage,
    ContractPlace,
    WithdrawalRight,
    contract_language,
    table_contract_languages,
    table_withdrawals,
    withdrawal_right,
)
from clients.messaging.law.history import last_job_dates
from clients.messaging.law.hours import CLOSED_ALL_DAY, DAY_KINDS, RegionalHours, allowed_hours
from clients.messaging.law.rules import (
    AGREED_BASES,
    DEFAULT_JURISDICTION,
    IMPLIED_BASES,
    NONE_NEEDED,
    REGISTER,
    LegalRule,
    LegalRules,
    add_months,
    countries_of,
    law_table_as_of,
    rule_for,
    table_hours,
    table_rules,
)
from clients.messaging.law.summary import (
    BASIS_LABELS,
    CERTAINTY_LABELS,
    RuleSummary,
    hours_text,
)

__all__ = [
    "AGREED_BASES",
    "BASIS_LABELS",
    "CERTAINTY_LABELS",
    "CLOSED_ALL_DAY",
    "DAY_KINDS",
    "DEFAULT_JURISDICTION",
    "IMPLIED_BASES",
    "NONE_NEEDED",
    "REGISTER",
    "ContractLanguage",
    "ContractPlace",
    "LegalRule",
    "LegalRules",
    "RegionalHours",
    "RuleSummary",
    "WithdrawalRight",
    "add_months",
    "allowed_hours",
    "contract_language",
    "countries_of",
    "hours_text",
    "last_job_dates",
    "law_table_as_of",
    "rule_for",
    "table_contract_languages",
    "table_hours",
    "table_rules",
    "table_withdrawals",
    "withdrawal_right",
]
