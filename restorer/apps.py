"""The restorer app, and the system checks that come with it."""

from django.apps import AppConfig


class RestorerConfig(AppConfig):
    name = "restorer"

    def ready(self) -> None:
        from restorer import checks  # noqa: F401 - importing registers them
