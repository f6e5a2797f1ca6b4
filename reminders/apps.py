"""The reminders app."""

from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "reminders"

    def ready(self) -> None:
        from reminders import actions  # noqa: F401 - its receivers connect themselves
