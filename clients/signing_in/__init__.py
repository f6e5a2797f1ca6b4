"""Proofs of who somebody is beside a password: codes of an app, recovery codes, passkeys, links
that set a password; how many wrong ones are taken; what a browser calls itself. No rows are read
here."""

from clients.signing_in.devices import device_words
from clients.signing_in.guessing import (
    ASKED_LINKS,
    PAGE_CODES,
    PASSWORDS,
    GuessLimit,
    second_step_limit,
)
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
from clients.signing_in.password_links import (
    invitation_path,
    is_link_good,
    new_password_path,
    person_key_of,
)
from clients.signing_in.recovery_codes import hash_recovery_code, new_recovery_codes
from clients.signing_in.totp import TOTP_DIGITS, app_address, matching_step, new_totp_key

__all__ = [
    "ASKED_LINKS",
    "PAGE_CODES",
    "PASSWORDS",
    "TOTP_DIGITS",
    "GuessLimit",
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
    "invitation_path",
    "is_link_good",
    "matching_step",
    "new_password_path",
    "new_recovery_codes",
    "new_totp_key",
    "passkey_id_of",
    "person_key_of",
    "request_options",
    "second_step_limit",
]
