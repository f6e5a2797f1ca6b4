"""Actions on what is said and under which rules: the owner's texts, and the owner's own law."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from clients.messaging import texts
from clients.messaging.models import LawRule, MessageText
from clients.messaging.texts import Wording
from clients.models import User


@transaction.atomic
def save_message_text(
    *, purpose: str, channel: str, words: Wording, by: User, now: datetime
) -> MessageText:
    """The owner's wording from now on; messages in the outbox keep theirs.
    Raises `texts.TextProblem`."""
    texts.check_wording(purpose=purpose, channel=channel, subject=words.subject, body=words.body)
    values = {"subject": words.subject, "body": words.body, "changed_at": now, "changed_by": by}
    row, _ = MessageText.objects.update_or_create(
        purpose=purpose, channel=channel, language=words.language, defaults=values
    )
    return row


@transaction.atomic
def reset_message_text(*, purpose: str, channel: str, language: str) -> bool:
    """Back to the program's wording; False if it was in use already."""
    rows = MessageText.objects.filter(purpose=purpose, channel=channel, language=language)
    found = rows.first()
    return bool(found and found.delete()[0])


@dataclass(frozen=True)
class LawRuleInput:
    """A rule of the owner: where (a country) and for which channel, from which day on, what it says
    (as a row of the table of law), where that is from and when it was checked."""

    jurisdiction: str
    medium: str
    valid_from: date
    rules: dict[str, Any]
    source: str
    checked_on: date


@transaction.atomic
def save_law_rule(*, rule: LawRuleInput, by: User, now: datetime) -> LawRule:
    """The owner's own rule over the table, from a day on; one a day."""
    values = {
        "rules": rule.rules,
        "source": rule.source,
        "checked_on": rule.checked_on,
        "created_at": now,
        "created_by": by,
    }
    row, _ = LawRule.objects.update_or_create(
        jurisdiction=rule.jurisdiction,
        medium=rule.medium,
        valid_from=rule.valid_from,
        defaults=values,
    )
    return row


@transaction.atomic
def delete_law_rule(*, row: LawRule) -> None:
    """Back to the table; messages keep the rule that was frozen with them."""
    row.delete()
