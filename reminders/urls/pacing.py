"""Addresses of the pacing plan, under /pacing/."""

from django.urls import path

from reminders.views.pacing import household, plan

app_name = "pacing"
urlpatterns = [
    path("", plan, name="plan"),
    path("<int:pk>/", household, name="household"),
]
