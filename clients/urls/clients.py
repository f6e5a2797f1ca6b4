"""Addresses of the forms of clients and properties, under /clients/; the page of one stands above
(`reminders.urls.clients`)."""

from django.urls import path

from clients.views import clients, customers, doubles, many, properties

app_name = "clients"
urlpatterns = [
    path("new/", clients.open_client_account, name="new"),
    path("customers/", customers.show_customers, name="customers"),
    path("archive-many/", many.archive_many_clients, name="archive_many"),
    path("doubles/", doubles.list_doubles, name="doubles"),
    path("doubles/<int:one>/<int:other>/", doubles.merge_two_clients, name="merge"),
    path("merges/<int:pk>/undo/", doubles.undo_client_merge, name="undo_merge"),
    path("<int:pk>/edit/", clients.edit_client, name="edit"),
    path("<int:pk>/consent/", clients.add_consent, name="add_consent"),
    path("<int:pk>/archive/", clients.archive_client_view, name="archive"),
    path("<int:pk>/bring-back/", clients.unarchive_client_view, name="bring_back"),
    path("<int:pk>/properties/new/", properties.new_property, name="add_property"),
    path("properties/<int:pk>/edit/", properties.edit_property, name="edit_property"),
]
