"""What the law of sender and recipient asks of a reminder or an offer: dated data, never advice;
local law decides."""

from clients.messaging.law.rules import NONE_NEEDED, LegalRule, LegalRules, countries_of, rule_for

__all__ = ["NONE_NEEDED", "LegalRule", "LegalRules", "countries_of", "rule_for"]
