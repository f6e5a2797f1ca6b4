"""Addresses of clients, under /clients/: the list and the page of one, beside the forms of the book
below."""

from django.urls import path

from clients.urls import clients as forms
from reminders.views import care_plans, clients

app_name = forms.app_name
urlpatterns = [
    path("", clients.list_clients, name="list"),
    path("<int:pk>/", clients.show_client, name="detail"),
    path("property/<int:pk>/plan/", care_plans.edit_care_plan, name="care_plan"),
    *forms.urlpatterns,
]
