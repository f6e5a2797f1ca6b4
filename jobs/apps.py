"""The jobs app, the rows whose changes are kept in the audit trail, and what ends an unanswered
offer."""

from collections.abc import Collection
from typing import TYPE_CHECKING

from django.apps import AppConfig

if TYPE_CHECKING:
    from datetime import datetime


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self) -> None:
        from auditlog.registry import auditlog

        from clients.messaging.law import history
        from jobs import models
        from jobs.work import last_jobs

        history.last_job_providers.append(last_jobs.last_job_day_by_client)

        for model in (
            models.Product,
            models.Batch,
            models.Visit,
            models.Job,
            models.CoatApplied,
            models.Photo,
            models.Crew,
            models.DayOff,
            models.Booking,
            models.PriceList,
            models.Rate,
            models.TravelZone,
            models.Tax,
            models.Pack,
            models.StockTin,
        ):
            auditlog.register(model)
        connect_offer_withdrawals()


def connect_offer_withdrawals() -> None:
    """Offers that nobody answered are withdrawn when their decks are booked or done, or the client
    leaves."""
    from clients.after import client_departure_listeners
    from jobs.after import booking_listeners, job_change_listeners

    for registry, follow in (
        (booking_listeners, withdraw_after_booking),
        (client_departure_listeners, withdraw_after_leaving),
        (job_change_listeners, withdraw_after_job),
    ):
        if follow not in registry:
            registry.append(follow)  # type: ignore[arg-type]


def withdraw_after_booking(deck_ids: Collection[int], words: str) -> None:
    from jobs.actions import offer_withdrawal as withdrawing

    withdrawing.withdraw_offers_about_decks(
        deck_ids=deck_ids, history_note=words, now=current_time()
    )


def withdraw_after_leaving(client_ids: Collection[int], words: str) -> None:
    from jobs.actions import offer_withdrawal as withdrawing

    withdrawing.withdraw_offers_of_clients(
        client_ids=client_ids, history_note=words, now=current_time()
    )


def withdraw_after_job(deck_ids: Collection[int]) -> None:
    from jobs.actions import offer_withdrawal as withdrawing

    withdrawing.withdraw_offers_of_coated_decks(deck_ids=deck_ids, now=current_time())


def current_time() -> "datetime":
    """The time of the deed: no caller of a registry hands one down."""
    from django.utils import timezone

    return timezone.now()
