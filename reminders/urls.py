"""Addresses of the due list, under /due/."""

from django.urls import path

from reminders.views import due, remind

app_name = "reminders"
urlpatterns = [
    path("", due.due, name="due"),
    path("remind/", remind.remind, name="remind"),
    path("<str:month>/", due.due_month, name="due_month"),
]
