"""Addresses of the settings pages, under /settings/."""

from django.urls import URLPattern

app_name = "settings"
urlpatterns: list[URLPattern] = []
