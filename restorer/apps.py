"""The restorer app, and the system checks that come with it."""

from django.apps import AppConfig


class RestorerConfig(AppConfig):
    name = "restorer"

    def ready(self) -> None:
        from auditlog.registry import auditlog

        from restorer import checks, models  # noqa: F401 - importing checks registers them
        from restorer.webhooks import announcing  # noqa: F401 - its receivers

        auditlog.register(models.Webhook, exclude_fields=["secret_sealed"])
        auditlog.register(models.ApiToken, exclude_fields=["token_hash", "last_used_at"])
