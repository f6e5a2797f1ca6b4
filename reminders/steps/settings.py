"""Keeping the sequence and its rules."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction

from clients.messaging.models import SendingRules
from reminders.models import ReminderStep


@transaction.atomic
def save_sequence(*, steps: Sequence[Mapping[str, Any]], rules: SendingRules) -> None:
    """The steps in this order, numbered from 1, and the rules;
    steps that are no more leave what they said."""
    for number, values in enumerate(steps, 1):
        ReminderStep.objects.update_or_create(number=number, defaults=dict(values))
    ReminderStep.objects.filter(number__gt=len(steps)).delete()
    rules.pk = 1
    rules.save()
