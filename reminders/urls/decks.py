"""Addresses of the deck search and the deck page, under /decks/."""

from django.urls import path

from reminders.views import deck, search

app_name = "decks"
urlpatterns = [
    path("", search.search_decks, name="search"),
    path("<int:pk>/", deck.show_deck, name="detail"),
]
