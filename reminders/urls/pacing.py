"""Addresses of the pacing plan, under /pacing/."""

from django.urls import path

from reminders.views.pacing import edit_household_week, show_pacing_plan

app_name = "pacing"
urlpatterns = [
    path("", show_pacing_plan, name="plan"),
    path("<int:pk>/", edit_household_week, name="household"),
]
