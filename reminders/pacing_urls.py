"""Addresses of the pacing plan, under /pacing/."""

from django.urls import URLPattern

app_name = "pacing"
urlpatterns: list[URLPattern] = []
