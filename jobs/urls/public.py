"""Addresses that clients open without signing in: an offer, and calendar feeds."""

from django.urls import path

from jobs.views import calendar, public_offer

urlpatterns = [
    path("o/<str:token>/", public_offer.show_public_offer, name="offer_public"),
    path("o/<str:token>/offer.pdf", public_offer.show_public_pdf, name="offer_paper"),
    path("calendar/<str:token>.ics", calendar.crew_calendar, name="crew_calendar"),
    path("o/<str:token>/visit.ics", public_offer.public_visit_file, name="offer_visit"),
    path("o/<str:token>/photo/<int:pk>/", public_offer.show_public_photo, name="offer_photo"),
]
