"""Addresses that clients open without signing in: an offer, and calendar feeds."""

from django.urls import path

from jobs.views import calendar, offer_public

urlpatterns = [
    path("o/<str:token>/", offer_public.show_public_offer, name="offer_public"),
    path("o/<str:token>/offer.pdf", offer_public.show_public_pdf, name="offer_paper"),
    path("calendar/<str:token>.ics", calendar.crew_calendar, name="crew_calendar"),
    path("o/<str:token>/visit.ics", offer_public.public_visit_file, name="offer_visit"),
    path("o/<str:token>/photo/<int:pk>/", offer_public.show_public_photo, name="offer_photo"),
]
