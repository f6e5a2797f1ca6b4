"""Addresses of the settings pages, under /settings/."""

from django.urls import path

from clients.messaging.views import gateway, inbound_settings, readiness
from clients.views import audit, settings, signing_in, users

app_name = "settings"
urlpatterns = [
    path("", settings.show_settings, name="overview"),
    path("sources/", settings.show_sources, name="sources"),
    path("password/", signing_in.own_password, name="own_password"),
    path("signing-in/", signing_in.show_signing_in, name="signing_in"),
    path("signing-in/you/", signing_in.prove_it_is_you, name="prove_it_is_you"),
    path("signing-in/app/", signing_in.set_up_app, name="app"),
    path("signing-in/app/remove/", signing_in.remove_app, name="remove_app"),
    path("signing-in/codes/", signing_in.renew_codes, name="recovery_codes"),
    path("signing-in/passkeys/options/", signing_in.passkey_options, name="passkey_options"),
    path("signing-in/passkeys/", signing_in.keep_new_passkey, name="add_passkey"),
    path("signing-in/passkeys/<int:pk>/", signing_in.drop_passkey, name="remove_passkey"),
    path("signing-in/devices/", signing_in.end_other_sessions, name="end_other_sessions"),
    path("signing-in/devices/<int:pk>/", signing_in.end_session, name="end_session"),
    path("business/", settings.edit_business, name="business"),
    path("people/", users.list_people, name="people"),
    path("people/new/", users.new_person, name="add_person"),
    path("people/<int:pk>/", users.edit_person, name="person"),
    path("people/second-step/", users.require_step_of_roles, name="require_second_step"),
    path("people/<int:pk>/second-step/", users.reset_step_of, name="reset_second_step"),
    path("people/<int:pk>/link/", users.mail_password_link, name="send_password_link"),
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
    path("audit/<int:pk>/undo/", audit.undo_record_change, name="undo_change"),
]
