"""Addresses of the forms that add and change decks, under /decks/."""

from django.urls import path

from clients.views import decks, doubles, many

app_name = "deck_forms"
urlpatterns = [
    path("change-many/", many.change_many_decks, name="change_many"),
    path("new/<int:pk>/", decks.new_deck, name="new"),
    path("<int:pk>/edit/", decks.edit_deck, name="edit"),
    path("<int:pk>/merge/", doubles.merge_two_decks, name="merge"),
    path("merges/<int:pk>/undo/", doubles.undo_deck_merge, name="undo_merge"),
    path("<int:pk>/archive/", decks.archive_deck_view, name="archive"),
    path("<int:pk>/bring-back/", decks.unarchive_deck_view, name="bring_back"),
]
