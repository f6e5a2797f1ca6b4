"""Addresses outside any section: signing in, the first visit, and leaving the mailing list."""

from django.urls import path

from clients.messaging.views import unsubscribe
from clients.views import first_visit, passwords, privacy, sign_in

urlpatterns = [
    path("sign-in/", sign_in.sign_in, name="sign_in"),
    path("sign-in/second-step/", sign_in.second_step, name="second_step"),
    path("sign-in/passkey/", sign_in.sign_in_by_passkey, name="sign_in_by_passkey"),
    path("sign-in/passkey/options/", sign_in.sign_in_options, name="sign_in_options"),
    path("sign-in/forgotten/", passwords.ask_for_link, name="forgotten_password"),
    path("sign-in/new-password/<str:token>/", passwords.set_by_link, name="password_by_link"),
    path("sign-out/", sign_in.sign_out, name="sign_out"),
    path("first-visit/", first_visit.first_visit, name="first_visit"),
    path("privacy/", privacy.show_privacy_notice, name="privacy"),
    path("u/<str:token>/", unsubscribe.unsubscribe_by_link, name="unsubscribe"),
]
