"""Addresses of the deck search and the deck page, under /decks/."""

from django.urls import URLPattern

app_name = "decks"
urlpatterns: list[URLPattern] = []
