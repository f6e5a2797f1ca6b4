"""The reminders app: what follows here, in the same transaction, when jobs, decks, bookings or
answers change."""

from collections.abc import Collection
from datetime import date
from typing import TYPE_CHECKING

from django.apps import AppConfig

if TYPE_CHECKING:
    from jobs.offers.forecast_summary import ForecastSummary


class RemindersConfig(AppConfig):
    name = "reminders"

    def ready(self) -> None:
        from clients.after import deck_change_listeners
        from jobs.after import booking_listeners, decline_listeners, job_change_listeners
        from jobs.offers.forecast_summary import forecast_providers

        for registry in (deck_change_listeners, job_change_listeners):
            if refresh_changed_decks not in registry:
                registry.append(refresh_changed_decks)
        for said, follow in (
            (booking_listeners, cancel_reminders_on_booking),
            (decline_listeners, stop_reminders_on_decline),
        ):
            if follow not in said:
                said.append(follow)
        if provide_forecast_summaries not in forecast_providers:
            forecast_providers.append(provide_forecast_summaries)


# No caller can hand the time down to these, so they ask for it themselves.


def refresh_changed_decks(deck_ids: Collection[int]) -> None:
    """Forecasts anew, and no word about a coat that another has been put on."""
    from django.utils import timezone

    from clients.models import Business
    from reminders import actions

    now = timezone.now()
    business = Business.current()
    today = business.today(now) if business else timezone.localdate(now)
    actions.refresh_forecasts(deck_ids=deck_ids, today=today, now=now)
    actions.cancel_outdated_reminders(deck_ids=deck_ids, now=now)


def cancel_reminders_on_booking(deck_ids: Collection[int], words: str) -> None:
    from django.utils import timezone

    from reminders import actions

    actions.cancel_for_booking(deck_ids=deck_ids, words=words, now=timezone.now())


def stop_reminders_on_decline(deck_ids: Collection[int], words: str) -> None:
    from django.utils import timezone

    from reminders import actions
    from reminders.models import Stop

    actions.stop_reminders(
        deck_ids=deck_ids, why=Stop.Why.DECLINED, words=words, by=None, now=timezone.now()
    )


def provide_forecast_summaries(
    deck_ids: Collection[int], today: date
) -> "dict[int, ForecastSummary]":
    """What jobs/offers/forecast_summary.py asks."""
    from reminders.forecasting import forecast_summaries

    return forecast_summaries.forecast_summaries(deck_ids, today)
