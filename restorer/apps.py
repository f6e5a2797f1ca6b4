"""The restorer app."""

from django.apps import AppConfig


class RestorerConfig(AppConfig):
    name = "restorer"
