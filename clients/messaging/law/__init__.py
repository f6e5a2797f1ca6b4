"""What the law of sender and recipient asks of a reminder or an offer: dated data, never advice;
local law decides."""

from clients.messaging.law.lookup import LegalRules, countries_of, rule_for
from clients.messaging.law.rule import NONE_NEEDED, LegalRule

__all__ = ["NONE_NEEDED", "LegalRule", "LegalRules", "countries_of", "rule_for"]
