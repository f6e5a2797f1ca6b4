"""Addresses of the settings pages, under /settings/."""

from django.urls import path

from clients.messaging.views import gateway, inbound_settings
from clients.views import audit, people, settings, sign_in

app_name = "settings"
urlpatterns = [
    path("", settings.overview, name="overview"),
    path("password/", sign_in.own_password, name="own_password"),
    path("business/", settings.business, name="business"),
    path("people/", people.people, name="people"),
    path("people/new/", people.add_person, name="add_person"),
    path("people/<int:pk>/", people.person, name="person"),
    path("people/<int:pk>/password/", people.set_password, name="set_password"),
    path("wet-days/", settings.normals, name="normals"),
    path("wet-days/new/", settings.add_normals, name="add_normals"),
    path("wet-days/<int:pk>/", settings.edit_normals, name="edit_normals"),
    path("gateway/", gateway.gateway, name="gateway"),
    path("gateway/addresses/", gateway.hook_secret, name="hook_secret"),
    path("gateway/test/", gateway.trial, name="gateway_trial"),
    path("coming-back/", inbound_settings.coming_back, name="coming_back"),
    path("audit/", audit.audit, name="audit"),
]
