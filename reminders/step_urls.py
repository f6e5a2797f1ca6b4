"""Addresses of reminder steps and what is planned, under /reminders/."""

from django.urls import URLPattern

app_name = "steps"
urlpatterns: list[URLPattern] = []
