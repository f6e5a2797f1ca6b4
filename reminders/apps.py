"""The reminders app: whenever jobs change, the forecasts of their decks follow in the same transaction."""

from collections.abc import Collection
from datetime import date
from typing import TYPE_CHECKING

from django.apps import AppConfig

if TYPE_CHECKING:
    from jobs.foretold import Foretold


class RemindersConfig(AppConfig):
    name = "reminders"

    def ready(self) -> None:
        from clients.after import after_deck
        from jobs.after import after_job
        from jobs.foretold import tellers

        for registry in (after_deck, after_job):
            if forecasts_follow not in registry:
                registry.append(forecasts_follow)
        if tell not in tellers:
            tellers.append(tell)


def forecasts_follow(deck_ids: Collection[int]) -> None:
    """What jobs/after.py calls. It asks for the time itself, as no caller can hand it down."""
    from django.utils import timezone

    from clients.models import Business
    from reminders import actions

    now = timezone.now()
    business = Business.current()
    today = business.today(now) if business else timezone.localdate(now)
    actions.refresh_forecasts(deck_ids=deck_ids, today=today, now=now)


def tell(deck_ids: Collection[int], today: date) -> "dict[int, Foretold]":
    """What jobs/foretold.py asks."""
    from reminders import telling

    return telling.tell(deck_ids, today)
