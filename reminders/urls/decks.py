"""Addresses of the look-up and the deck page, under /decks/."""

from django.urls import path

from reminders.views import clients, deck

app_name = "decks"
urlpatterns = [
    path("", clients.list_clients, name="search"),
    path("<int:pk>/", deck.show_deck, name="detail"),
]
