"""Addresses of the forms that add and change decks, under /decks/."""

from django.urls import path

from clients.views import decks

app_name = "deck_forms"
urlpatterns = [
    path("new/<int:pk>/", decks.new, name="new"),
    path("<int:pk>/edit/", decks.edit, name="edit"),
    path("<int:pk>/archive/", decks.archive, name="archive"),
    path("<int:pk>/bring-back/", decks.bring_back, name="bring_back"),
]
