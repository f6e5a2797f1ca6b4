"""Proofs of who somebody is beside a password: codes of an app, recovery codes, passkeys; and what
a browser calls itself. Pure: nothing here knows the database."""

from clients.signing_in.devices import device_words
from clients.signing_in.passkeys import (
    KnownPasskey,
    PasskeyError,
    PasskeySite,
    UsedPasskey,
    check_new_passkey,
    check_passkey_use,
    creation_options,
    passkey_id_of,
    request_options,
)
from clients.signing_in.recovery_codes import hash_recovery_code, new_recovery_codes
from clients.signing_in.totp import TOTP_DIGITS, app_address, matching_step, new_totp_key

__all__ = [
    "TOTP_DIGITS",
    "KnownPasskey",
    "PasskeyError",
    "PasskeySite",
    "UsedPasskey",
    "app_address",
    "check_new_passkey",
    "check_passkey_use",
    "creation_options",
    "device_words",
    "hash_recovery_code",
    "matching_step",
    "new_recovery_codes",
    "new_totp_key",
    "passkey_id_of",
    "request_options",
]
