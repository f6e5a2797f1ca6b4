"""Addresses of the due list, under /due/."""

from django.urls import path

from reminders.views import due, offer_drafts, remind, stops

app_name = "reminders"
urlpatterns = [
    path("", due.show_due_list, name="due"),
    path("remind/", remind.remind_chosen_decks, name="remind"),
    path("stop/", stops.stop_chosen_decks, name="stop_chosen"),
    path("offers/", offer_drafts.create_offer_drafts, name="draft_offers"),
    path("offers/<int:pk>/anew/", offer_drafts.recalculate_offer_draft, name="redraft_offer"),
    path("<str:month>/", due.show_due_month, name="due_month"),
]
