"""Addresses of reminder steps and what is planned, under /reminders/."""

from django.urls import path

from reminders.views import client_answers, steps, today

app_name = "steps"
urlpatterns = [
    path("", today.redirect_to_today, {"query": "tab=remind"}, name="plan"),
    path("rules/", steps.edit_reminder_steps, name="rules"),
    path("otherwise/<int:pk>/", steps.resend_unconfirmed, name="otherwise"),
    path("stop/<int:pk>/", steps.stop_deck_reminders, name="stop"),
    path("stop/<int:pk>/lift/", steps.lift_deck_stop, name="lift"),
    path("answers/<int:pk>/", client_answers.review_client_details, name="details"),
]
