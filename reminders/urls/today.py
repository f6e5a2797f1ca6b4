"""Address of the page Today, and of the lists that somebody keeps there."""

from django.urls import path

from reminders.views import today

urlpatterns = [
    path("", today.show_today, name="today"),
    path("outbox/to-do/", today.redirect_to_today, {"query": "inbox=open"}, name="inbox"),
    path("views/save/", today.save_view, name="save_view"),
    path("views/<int:pk>/remove/", today.remove_view, name="remove_view"),
]
