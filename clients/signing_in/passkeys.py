"""Passkeys (W3C Web Authentication, level 3): what the browser is asked, and whether its answer is
right. All of it by the library `webauthn`; no attestation is asked for, so no maker is trusted or
known."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

import webauthn
from webauthn.helpers import base64url_to_bytes, options_to_json
from webauthn.helpers.structs import (
    AuthenticatorSelectionCriteria,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

MAX_ANSWER_LENGTH = 20_000  # characters


class PasskeyError(ValueError):
    """The browser's answer is not the one that was asked for."""


@dataclass(frozen=True)
class PasskeySite:
    """The address that passkeys are made for: `host` is the relying party's name."""

    host: str
    origin: str


@dataclass(frozen=True)
class KnownPasskey:
    """What is kept of one."""

    credential_id: bytes
    public_key: bytes
    sign_count: int


@dataclass(frozen=True)
class UsedPasskey:
    """What a right answer says."""

    sign_count: int
    is_person_verified: bool  # by a finger, a face or a PIN, not by touch alone


def creation_options(
    site: PasskeySite, *, business: str, person: str, handle: bytes, known: Sequence[bytes]
) -> tuple[str, bytes]:
    """What `navigator.credentials.create` is to be given, as JSON; and the challenge in it."""
    options = webauthn.generate_registration_options(
        rp_id=site.host,
        rp_name=business,
        user_id=handle,
        user_name=person,
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.PREFERRED,
            user_verification=UserVerificationRequirement.PREFERRED,
        ),
        exclude_credentials=[PublicKeyCredentialDescriptor(id=each) for each in known],
    )
    return options_to_json(options), options.challenge


def request_options(
    site: PasskeySite, *, known: Sequence[bytes], verify_person: bool
) -> tuple[str, bytes]:
    """What `navigator.credentials.get` is to be given, as JSON; and the challenge in it. Without
    known ones the browser offers those that it holds for this address."""
    verification = (
        UserVerificationRequirement.REQUIRED
        if verify_person
        else UserVerificationRequirement.PREFERRED
    )
    options = webauthn.generate_authentication_options(
        rp_id=site.host,
        allow_credentials=[PublicKeyCredentialDescriptor(id=each) for each in known],
        user_verification=verification,
    )
    return options_to_json(options), options.challenge


def check_new_passkey(answer: str, *, challenge: bytes, site: PasskeySite) -> KnownPasskey:
    """What is to be kept of a new one. Raises `PasskeyError`."""
    try:
        made = webauthn.verify_registration_response(
            credential=answer[:MAX_ANSWER_LENGTH],
            expected_challenge=challenge,
            expected_rp_id=site.host,
            expected_origin=site.origin,
        )
    except Exception as error:  # hostile bytes: the library may raise anything
        raise PasskeyError(str(error)) from error
    return KnownPasskey(made.credential_id, made.credential_public_key, made.sign_count)


def passkey_id_of(answer: str) -> bytes:
    """Which passkey an answer says that it is from. Raises `PasskeyError`."""
    try:
        return base64url_to_bytes(json.loads(answer[:MAX_ANSWER_LENGTH])["rawId"])
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
        raise PasskeyError("The answer names no passkey.") from error


def check_passkey_use(
    answer: str, known: KnownPasskey, *, challenge: bytes, site: PasskeySite, verify_person: bool
) -> UsedPasskey:
    """Whether it was used for just this challenge, here. Raises `PasskeyError`."""
    try:
        used = webauthn.verify_authentication_response(
            credential=answer[:MAX_ANSWER_LENGTH],
            expected_challenge=challenge,
            expected_rp_id=site.host,
            expected_origin=site.origin,
            credential_public_key=known.public_key,
            credential_current_sign_count=known.sign_count,
            require_user_verification=verify_person,
        )
    except Exception as error:  # hostile bytes: the library may raise anything
        raise PasskeyError(str(error)) from error
    return UsedPasskey(used.new_sign_count, used.user_verified)
