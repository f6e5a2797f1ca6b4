"""Addresses of the outbox, under /outbox/."""

from django.urls import URLPattern

app_name = "outbox"
urlpatterns: list[URLPattern] = []
