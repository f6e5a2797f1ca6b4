"""Addresses of letters and calls, under /outbox/."""

from django.urls import path

from clients.messaging.views import calls, letters

app_name = "channels"
urlpatterns = [
    path("calls/", calls.list_calls, name="calls"),
    path("calls/<int:pk>/", calls.note_call, name="note_call"),
    path("letters/", letters.list_letters, name="letters"),
    path("letters/new/", letters.make_batch, name="make_batch"),
    path("letters/test-sheet/", letters.download_test_sheet, name="test_sheet"),
    path("letters/<int:pk>/", letters.show_letter_batch, name="batch"),
    path("letters/<int:pk>/print/", letters.print_batch, name="print_batch"),
    path("letters/<int:pk>/posted/", letters.post_batch, name="post_batch"),
    path("letters/<int:pk>/give-up/", letters.take_apart, name="take_apart"),
    path("letters/enclosures/<int:pk>/", letters.download_enclosure, name="enclosure"),
]
