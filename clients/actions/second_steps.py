"""What a person signs in with beside the password: set up, used, removed, required by role.

Each change mails the person (if they have an address) and ends their other sessions.
"""

import uuid
from collections.abc import Collection
from datetime import datetime

from django.db import transaction
from django.db.models import F

from clients.actions.saving import lock_row
from clients.messaging.actions.staff_notices import announce_to_person
from clients.models import Authenticator, Business, Passkey, RecoveryCode, User
from clients.sealing import SealError
from clients.signing_in import (
    TOTP_DIGITS,
    KnownPasskey,
    UsedPasskey,
    hash_recovery_code,
    matching_step,
    new_recovery_codes,
)

MAX_PASSKEYS = 20
SIGNING_IN_URL = "/settings/signing-in/"


class SecondStepError(ValueError):
    """The message says what stands against it."""


@transaction.atomic
def set_up_authenticator(*, person: User, key: str, code: str, now: datetime) -> None:
    """From now on this app's codes count; `code` proves that the app has the key. Raises
    `SecondStepError`."""
    step = matching_step(key, read_code(code), now=now, after=0)
    if step is None:
        raise SecondStepError(
            "That is not the code of the app. Type the one it shows now; its clock must be right."
        )
    lock_row(person)
    row = Authenticator(user=person, last_step=step, added_at=now)
    row.keep_key(key)
    Authenticator.objects.filter(user=person).delete()
    row.save()
    announce_change(person=person, words="An authenticator app was set up.", now=now)


@transaction.atomic
def remove_authenticator(*, person: User, now: datetime) -> None:
    """Raises `SecondStepError` if nothing would be left that the owner requires."""
    lock_row(person)
    require_another_step(person, Passkey.objects.filter(user=person).exists())
    deleted, _ = Authenticator.objects.filter(user=person).delete()
    if deleted:
        drop_codes_without_step(person)
        announce_change(person=person, words="The authenticator app was removed.", now=now)


@transaction.atomic
def add_passkey(*, person: User, made: KnownPasskey, name: str, now: datetime) -> Passkey:
    """Raises `SecondStepError` if it is known already, or there are too many."""
    lock_row(person)
    if Passkey.objects.filter(credential_id=made.credential_id).exists():
        raise SecondStepError("This passkey is here already.")
    if person.passkeys.count() >= MAX_PASSKEYS:
        raise SecondStepError(f"There are {MAX_PASSKEYS} passkeys. Remove one first.")
    row = Passkey.objects.create(
        user=person,
        name=name,
        credential_id=made.credential_id,
        public_key=made.public_key,
        sign_count=made.sign_count,
        added_at=now,
    )
    announce_change(person=person, words=f"The passkey “{name}” was added.", now=now)
    return row


@transaction.atomic
def remove_passkey(*, passkey: Passkey, now: datetime) -> None:
    """Raises `SecondStepError` if nothing would be left that the owner requires."""
    person = lock_row(passkey.user)
    others = person.passkeys.exclude(pk=passkey.pk).exists()
    require_another_step(person, others or Authenticator.objects.filter(user=person).exists())
    passkey.delete()
    drop_codes_without_step(person)
    announce_change(person=person, words=f"The passkey “{passkey.name}” was removed.", now=now)


@transaction.atomic
def note_passkey_used(*, passkey: Passkey, used: UsedPasskey, now: datetime) -> bool:
    """Whether it still counted: of two answers with one counter only the first does."""
    row = Passkey.objects.filter(pk=passkey.pk, sign_count=passkey.sign_count)
    return bool(row.update(sign_count=used.sign_count, last_used_at=now))


@transaction.atomic
def make_recovery_codes(*, person: User, now: datetime) -> list[str]:
    """New ones in the place of those that there were; shown once. None without a second step."""
    lock_row(person)
    if not person.has_second_step:
        raise SecondStepError("Set up an app or a passkey first.")
    codes = new_recovery_codes()
    is_first = not person.recovery_codes.exists()
    person.recovery_codes.all().delete()
    RecoveryCode.objects.bulk_create(
        RecoveryCode(user=person, code_hash=hash_recovery_code(code, person=person.pk))
        for code in codes
    )
    if not is_first:
        announce_change(person=person, words="New recovery codes were made.", now=now)
    return codes


@transaction.atomic
def use_code(*, person: User, code: str, now: datetime) -> bool:
    """Whether a code of the app or a recovery code is right; either counts once."""
    lock_row(person)
    plain = read_code(code)
    if len(plain) == TOTP_DIGITS and plain.isdecimal():
        return use_app_code(person, plain, now)
    codes = person.recovery_codes.filter(used_at=None)
    hashed = hash_recovery_code(plain, person=person.pk)
    if not codes.filter(code_hash=hashed).update(used_at=now):
        return False
    left = codes.count()
    words = f"A recovery code was used to sign in. {left} left."
    announce_to_person(
        person=person, key=f"code/{now.isoformat()}", words=words, url=SIGNING_IN_URL, now=now
    )
    return True


def use_app_code(person: User, code: str, now: datetime) -> bool:
    row = Authenticator.objects.filter(user=person).first()
    if row is None:
        return False
    try:
        step = matching_step(row.key, code, now=now, after=row.last_step)
    except SealError:
        return False  # the installation has another key: a recovery code or the owner helps
    if step is None:
        return False
    row.last_step = step
    row.save(update_fields=["last_step"])
    return True


def warn_of_wrong_codes(*, person: User, now: datetime) -> None:
    """Once an hour: whoever gets as far as the second step has the password."""
    announce_to_person(
        person=person,
        key=f"wrong-codes/{int(now.timestamp() // 3600)}",
        words="Somebody who has your password typed many wrong codes. If it was not you, change"
        " your password.",
        url=SIGNING_IN_URL,
        now=now,
    )


def read_code(code: str) -> str:
    """As it counts: without the spaces and hyphens that people type."""
    return "".join(filter(str.isalnum, code))


@transaction.atomic
def reset_second_step(*, person: User, now: datetime) -> None:
    """For somebody who lost it: app, passkeys and recovery codes are gone, all sessions end."""
    lock_row(person)
    Authenticator.objects.filter(user=person).delete()
    person.passkeys.all().delete()
    person.recovery_codes.all().delete()
    announce_change(
        person=person, words="Your second step was reset. The password alone signs in.", now=now
    )


@transaction.atomic
def require_second_step(*, business: Business, roles: Collection[str]) -> None:
    """People of these roles set one up when they next sign in."""
    row = lock_row(business)
    row.second_step_roles = sorted(roles)
    row.save(update_fields=["second_step_roles", "updated_at"])


@transaction.atomic
def give_passkey_handle(*, person: User) -> uuid.UUID:
    """Who the person is to their passkeys: random, so that it says nothing (W3C WebAuthn,
    14.6.1)."""
    row = lock_row(person)
    if row.passkey_handle is None:
        row.passkey_handle = uuid.uuid4()
        row.save(update_fields=["passkey_handle"])
    return row.passkey_handle


def is_second_step_required(person: User) -> bool:
    business = Business.current()
    return business is not None and person.role in business.second_step_roles


def require_another_step(person: User, is_there: bool) -> None:
    if not is_there and is_second_step_required(person):
        raise SecondStepError("The owner wants a second step of you. Set up another one first.")


def drop_codes_without_step(person: User) -> None:
    """Recovery codes stand for a second step; without one they would be a third way in."""
    if not person.has_second_step:
        person.recovery_codes.all().delete()


@transaction.atomic
def end_all_sessions(*, person: User) -> None:
    """Everywhere; a view that changes its own person keeps its session by `keep_session`."""
    User.objects.filter(pk=person.pk).update(session_round=F("session_round") + 1)
    person.devices.update(session_key="")
    person.refresh_from_db(fields=["session_round"])


def announce_change(*, person: User, words: str, now: datetime) -> None:
    """Tells the person and ends their other sessions."""
    end_all_sessions(person=person)
    announce_to_person(
        person=person, key=f"account/{now.isoformat()}", words=words, url=SIGNING_IN_URL, now=now
    )
