"""Addresses of client, property and contact pages, under /clients/."""

from django.urls import path

from clients.views import clients, properties

app_name = "clients"
urlpatterns = [
    path("new/", clients.new, name="new"),
    path("<int:pk>/", clients.detail, name="detail"),
    path("<int:pk>/edit/", clients.edit, name="edit"),
    path("<int:pk>/consent/", clients.add_consent, name="add_consent"),
    path("<int:pk>/archive/", clients.archive, name="archive"),
    path("<int:pk>/bring-back/", clients.bring_back, name="bring_back"),
    path("<int:pk>/properties/new/", properties.add_property, name="add_property"),
    path("properties/<int:pk>/edit/", properties.edit_property, name="edit_property"),
]
