"""The reminders app."""

from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "reminders"

    def ready(self) -> None:
        from auditlog.registry import auditlog

        from reminders import actions, care_plans  # noqa: F401 - receivers connect themselves
        from reminders.models import CarePlan

        auditlog.register(CarePlan)
