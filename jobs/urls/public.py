"""Addresses that clients open without signing in: an offer, a report, and calendar feeds."""

from django.urls import path

from jobs.views import calendar, logo, public_offer, public_report

urlpatterns = [
    path("o/<str:token>/", public_offer.show_public_offer, name="offer_public"),
    path("o/<str:token>/offer.pdf", public_offer.show_public_pdf, name="offer_paper"),
    path("logo/<str:name>", logo.show_logo, name="logo_picture"),
    path("calendar/<str:token>.ics", calendar.crew_calendar, name="crew_calendar"),
    path("o/<str:token>/visit.ics", public_offer.public_visit_file, name="offer_visit"),
    path("o/<str:token>/photo/<int:pk>/", public_offer.show_public_photo, name="offer_photo"),
    path("s/<str:token>/", public_report.show_public_report, name="report_public"),
    path("s/<str:token>/report.pdf", public_report.show_public_report_pdf, name="report_paper"),
    path(
        "s/<str:token>/photo/<int:pk>/", public_report.show_public_report_photo, name="report_photo"
    ),
]
