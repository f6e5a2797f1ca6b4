"""The reminders app."""

from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "reminders"
