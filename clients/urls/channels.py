"""Addresses of letters, calls and the text gateway, under /outbox/."""

from django.urls import URLPattern

app_name = "channels"
urlpatterns: list[URLPattern] = []
