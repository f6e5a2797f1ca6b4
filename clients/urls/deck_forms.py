"""Addresses of the forms that add and change decks, under /decks/."""

from django.urls import URLPattern

app_name = "deck_forms"
urlpatterns: list[URLPattern] = []
