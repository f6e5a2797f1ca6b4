"""Addresses of the settings pages, under /settings/."""

from django.urls import path

from clients.messaging.views import gateway, inbound_settings, readiness
from clients.views import audit, settings, sign_in, users

app_name = "settings"
urlpatterns = [
    path("", settings.show_settings, name="overview"),
    path("password/", sign_in.own_password, name="own_password"),
    path("business/", settings.edit_business, name="business"),
    path("people/", users.list_people, name="people"),
    path("people/new/", users.new_person, name="add_person"),
    path("people/<int:pk>/", users.edit_person, name="person"),
    path("people/<int:pk>/password/", users.set_person_password, name="set_password"),
    path("wet-days/", settings.list_normals, name="normals"),
    path("wet-days/new/", settings.add_normals, name="add_normals"),
    path("wet-days/<int:pk>/", settings.edit_normals, name="edit_normals"),
    path("gateway/", gateway.edit_gateway, name="gateway"),
    path("gateway/addresses/", gateway.hook_secret, name="hook_secret"),
    path("gateway/test/", gateway.try_gateway, name="gateway_trial"),
    path("coming-back/", inbound_settings.edit_inbound_settings, name="coming_back"),
    path("ready/", readiness.show_ready, name="ready"),
    path("mail-server/", readiness.edit_mail_server, name="mail_server"),
    path("mail-server/test/", readiness.send_test_mail, name="test_mail"),
    path("notices/", users.edit_own_notices, name="notices"),
    path("audit/", audit.show_audit_trail, name="audit"),
]
