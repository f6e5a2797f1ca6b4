"""The jobs app, the rows whose changes are kept in the audit trail, and what follows when a client
leaves."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self) -> None:
        from auditlog.registry import auditlog

        from jobs import models
        from jobs.actions import (  # noqa: F401 - their receivers
            offer_sending,
            offer_withdrawal,
            structure,
        )

        for model in (
            models.Product,
            models.Batch,
            models.CanCode,
            models.Visit,
            models.Job,
            models.CoatApplied,
            models.WorkedHours,
            models.Photo,
            models.GradeExample,
            models.Document,
            models.Crew,
            models.DayOff,
            models.Booking,
            models.StructureCheck,
            models.Defect,
            models.ColourApproval,
            models.OfferTerms,
            models.PriceList,
            models.Rate,
            models.TravelZone,
            models.Tax,
            models.Pack,
            models.StockTin,
            models.ListImport,
        ):
            auditlog.register(model)
