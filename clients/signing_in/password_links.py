"""Links that set a password: for who is invited, seven days; for who forgot theirs, one hour.

By Django's own tokens: derived from the person's password and last sign-in, so that a link is over
once it was used, and nothing of it is kept.
"""

from datetime import timedelta
from typing import Any

from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.urls import reverse
from django.utils.http import base36_to_int, urlsafe_base64_decode, urlsafe_base64_encode


class InvitationTokens(PasswordResetTokenGenerator):
    """For somebody who has no password yet; ends with the first."""

    key_salt = "clients.password_links.invitation"
    lasts = timedelta(days=7)

    def check_token(self, user: Any, token: str | None) -> bool:
        """Whether it was made for this person, and lately enough."""
        return super().check_token(user, token) and self.age_of(token or "") <= self.lasts

    def age_of(self, token: str) -> timedelta:
        made = base36_to_int(token.partition("-")[0])
        return timedelta(seconds=self._num_seconds(self._now()) - made)


class NewPasswordTokens(InvitationTokens):
    """For somebody who forgot theirs; ends with the new one, or when they sign in after all."""

    key_salt = "clients.password_links.new_password"
    lasts = timedelta(hours=1)


INVITATIONS = InvitationTokens()
NEW_PASSWORDS = NewPasswordTokens()


def invitation_path(person: Any) -> str:
    return password_path(person, INVITATIONS)


def new_password_path(person: Any) -> str:
    return password_path(person, NEW_PASSWORDS)


def password_path(person: Any, tokens: PasswordResetTokenGenerator) -> str:
    name = urlsafe_base64_encode(str(person.pk).encode())
    return reverse("password_by_link", args=[f"{name}.{tokens.make_token(person)}"])


def person_key_of(token: str) -> str:
    """The key of the person that a link is for, as text; empty if it names none."""
    try:
        return urlsafe_base64_decode(token.partition(".")[0]).decode()
    except ValueError:
        return ""


def is_link_good(person: Any, token: str) -> bool:
    """Whether this link of theirs may still set a password."""
    proof = token.partition(".")[2]
    return any(tokens.check_token(person, proof) for tokens in (INVITATIONS, NEW_PASSWORDS))
