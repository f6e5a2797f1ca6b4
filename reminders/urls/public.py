"""Addresses that clients open without signing in: their own page."""

from django.urls import path

from reminders.views import client_page

urlpatterns = [
    path("p/", client_page.enter_page_code, name="client_page_code"),
    path("p/<str:secret>/", client_page.show_client_page, name="client_page"),
    path("p/<str:secret>/look/<int:pk>/", client_page.show_look_form, name="client_page_look"),
    path("p/<str:secret>/photo/<int:pk>/", client_page.show_page_photo, name="client_page_photo"),
    path(
        "p/<str:secret>/care/<int:pk>.pdf",
        client_page.show_page_care_record,
        name="client_page_care",
    ),
]
