"""Addresses of reminder steps and what is planned, under /reminders/."""

from django.urls import path

from reminders.views import steps

app_name = "steps"
urlpatterns = [
    path("", steps.plan, name="plan"),
    path("queue/", steps.queue, name="queue"),
    path("rules/", steps.rules, name="rules"),
    path("otherwise/<int:pk>/", steps.otherwise, name="otherwise"),
    path("stop/<int:pk>/", steps.stop, name="stop"),
    path("stop/<int:pk>/lift/", steps.lift, name="lift"),
]
