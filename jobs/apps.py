"""The jobs app, the rows whose changes are kept in the audit trail, and what ends an unanswered offer."""

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
        from jobs.work import latest_jobs

        history.last_jobs.append(latest_jobs.last_jobs)

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
        offers_follow()


def offers_follow() -> None:
    """Offers that nobody answered are withdrawn when their decks are booked or done, or the client leaves."""
    from clients.after import after_leaving
    from jobs.after import after_booking, after_job

    for registry, follow in (
        (after_booking, withdrawn_when_booked),
        (after_leaving, withdrawn_when_left),
        (after_job, withdrawn_when_done),
    ):
        if follow not in registry:
            registry.append(follow)  # type: ignore[arg-type]


def withdrawn_when_booked(deck_ids: Collection[int], words: str) -> None:
    from jobs.actions import withdrawing

    withdrawing.withdraw_about(deck_ids=deck_ids, noted=words, now=present())


def withdrawn_when_left(client_ids: Collection[int], words: str) -> None:
    from jobs.actions import withdrawing

    withdrawing.withdraw_of_clients(client_ids=client_ids, noted=words, now=present())


def withdrawn_when_done(deck_ids: Collection[int]) -> None:
    from jobs.actions import withdrawing

    withdrawing.withdraw_done(deck_ids=deck_ids, now=present())


def present() -> "datetime":
    """The time of the deed: no caller of a registry hands one down."""
    from django.utils import timezone

    return timezone.now()
