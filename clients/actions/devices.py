"""The devices that people are signed in on: noted when they sign in, ended when they say so."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime

from django.contrib.sessions.models import Session
from django.db import transaction

from clients.actions.second_steps import SIGNING_IN_URL
from clients.messaging.actions.staff_notices import announce_to_person
from clients.models import Device, User


@dataclass(frozen=True)
class OpenedSession:
    """A session that has just begun. `browser` is the secret of the browser's cookie."""

    browser: str
    words: str
    session_key: str
    ends_at: datetime | None = None

    @property
    def browser_hash(self) -> str:
        return hashlib.sha256(self.browser.encode()).hexdigest()


def new_browser_secret() -> str:
    return secrets.token_urlsafe(32)


@transaction.atomic
def note_sign_in(*, person: User, opened: OpenedSession, is_first: bool, now: datetime) -> Device:
    """The device is in the list; if it is new, the person hears of it. The very first sign-in of
    an account surprises nobody."""
    device, is_new = Device.objects.update_or_create(
        user=person,
        browser_hash=opened.browser_hash,
        defaults={
            "words": opened.words,
            "session_key": opened.session_key,
            "is_trusted": opened.ends_at is None,
            "signed_in_at": now,
            "last_seen_at": now,
            "ends_at": opened.ends_at,
        },
    )
    if is_new and not is_first:
        announce_to_person(
            person=person,
            key=f"device/{device.pk}",
            words=f"A new device signed in to your account: {device.words}.",
            url=SIGNING_IN_URL,
            now=now,
        )
    return device


@transaction.atomic
def end_session_on(*, device: Device) -> None:
    """The device has to sign in again."""
    Session.objects.filter(session_key=device.session_key).delete()
    device.session_key = ""
    device.save(update_fields=["session_key"])
