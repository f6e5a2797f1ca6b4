"""The reminders app."""

from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "reminders"

    def ready(self) -> None:
        from reminders import receivers  # noqa: F401 - they connect themselves
