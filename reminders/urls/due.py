"""Addresses of the due list, under /due/."""

from django.urls import path

from reminders.views import due, offering, remind

app_name = "reminders"
urlpatterns = [
    path("", due.due, name="due"),
    path("remind/", remind.remind, name="remind"),
    path("offers/", offering.draft_offers, name="draft_offers"),
    path("offers/<int:pk>/anew/", offering.redraft_offer, name="redraft_offer"),
    path("<str:month>/", due.due_month, name="due_month"),
]
