"""Addresses of texts, sending rules, the law table and the domain check, under /settings/."""

from django.urls import URLPattern

app_name = "speech"
urlpatterns: list[URLPattern] = []
