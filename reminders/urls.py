"""Addresses of the due list, under /due/."""

from django.urls import URLPattern

app_name = "reminders"
urlpatterns: list[URLPattern] = []
