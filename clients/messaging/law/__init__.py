"""What the law of sender and recipient asks of a reminder or an offer: dated data, never advice; local law decides."""

from clients.messaging.law.deciding import Law, countries_of, rule_for
from clients.messaging.law.rule import NONE_NEEDED, Rule

__all__ = ["NONE_NEEDED", "Law", "Rule", "countries_of", "rule_for"]
