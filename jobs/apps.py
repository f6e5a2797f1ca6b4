"""The jobs app, and the rows whose changes are kept in the audit trail."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"

    def ready(self) -> None:
        from auditlog.registry import auditlog

        from jobs import models

        for model in (
            models.Product,
            models.Batch,
            models.Visit,
            models.Job,
            models.CoatApplied,
            models.Photo,
        ):
            auditlog.register(model)
