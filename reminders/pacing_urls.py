"""Addresses of the pacing plan, under /pacing/."""

from django.urls import path

from reminders.views import pacing

app_name = "pacing"
urlpatterns = [
    path("", pacing.plan, name="plan"),
    path("<int:pk>/", pacing.household, name="household"),
]
