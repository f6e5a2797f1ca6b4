"""The reminders app: what follows here, in the same transaction, when jobs, decks, bookings or answers change."""

from collections.abc import Collection
from datetime import date
from typing import TYPE_CHECKING

from django.apps import AppConfig

if TYPE_CHECKING:
    from jobs.offers.forecast_summary import Foretold


class RemindersConfig(AppConfig):
    name = "reminders"

    def ready(self) -> None:
        from clients.after import after_deck
        from jobs.after import after_booking, after_decline, after_job
        from jobs.offers.forecast_summary import tellers

        for registry in (after_deck, after_job):
            if forecasts_follow not in registry:
                registry.append(forecasts_follow)
        for said, follow in ((after_booking, reminders_stop_for_a_visit), (after_decline, reminders_stop_for_a_no)):
            if follow not in said:
                said.append(follow)
        if tell not in tellers:
            tellers.append(tell)


# No caller can hand the time down to these, so they ask for it themselves.


def forecasts_follow(deck_ids: Collection[int]) -> None:
    """Forecasts anew, and no word about a coat that another has been put on."""
    from django.utils import timezone

    from clients.models import Business
    from reminders import actions

    now = timezone.now()
    business = Business.current()
    today = business.today(now) if business else timezone.localdate(now)
    actions.refresh_forecasts(deck_ids=deck_ids, today=today, now=now)
    actions.call_back_outdated(deck_ids=deck_ids, now=now)


def reminders_stop_for_a_visit(deck_ids: Collection[int], words: str) -> None:
    from django.utils import timezone

    from reminders import actions

    actions.call_back(deck_ids=deck_ids, words=words, now=timezone.now())


def reminders_stop_for_a_no(deck_ids: Collection[int], words: str) -> None:
    from django.utils import timezone

    from reminders import actions
    from reminders.models import Stop

    actions.stop(deck_ids=deck_ids, why=Stop.Why.DECLINED, words=words, by=None, now=timezone.now())


def tell(deck_ids: Collection[int], today: date) -> "dict[int, Foretold]":
    """What jobs/offers/forecast_summary.py asks."""
    from reminders.forecasting import providers

    return providers.tell(deck_ids, today)
