"""The restorer app, and the system checks that come with it."""

from typing import Any

from django.apps import AppConfig
from django.conf import settings


class RestorerConfig(AppConfig):
    name = "restorer"

    def ready(self) -> None:
        from auditlog.registry import auditlog

        from clients.events import clients_erased
        from restorer import checks, models  # noqa: F401 - importing checks registers them
        from restorer.webhooks import announcing  # noqa: F401 - its receivers

        clients_erased.connect(forget_kept_answers)
        if settings.IS_TRACED:
            from restorer.metrics import start_tracing

            start_tracing()

        auditlog.register(models.Webhook, exclude_fields=["secret_sealed"])
        auditlog.register(models.ApiToken, exclude_fields=["token_hash", "last_used_at"])


def forget_kept_answers(**erased: Any) -> None:
    """The API is loaded once somebody is erased: not every process needs it."""
    from restorer.api import forget_answers_about

    forget_answers_about(**erased)
