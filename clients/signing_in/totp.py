"""Codes of an authenticator app: RFC 6238 with HMAC-SHA-1, six digits and steps of 30 seconds,
which every app knows. The arithmetic is pyotp's."""

from datetime import datetime

import pyotp
from pyotp.utils import strings_equal

TOTP_DIGITS = 6
STEP_SECONDS = 30
STEPS_EITHER_WAY = 1  # a clock that is half a minute off; RFC 6238, 5.2 and 6
MAX_NAME_IN_APP = 30  # characters; the address has to fit into a QR code


def new_totp_key() -> str:
    """160 random bits in base32, as RFC 4226, 4 (R6) recommends."""
    return pyotp.random_base32(32)


def matching_step(key: str, code: str, *, now: datetime, after: int) -> int | None:
    """The time step that the code belongs to, if it is right and later than step `after`: a code
    is accepted once (RFC 6238, 5.2)."""
    totp = pyotp.TOTP(key, digits=TOTP_DIGITS, interval=STEP_SECONDS)
    current = int(now.timestamp()) // STEP_SECONDS
    steps = range(max(current - STEPS_EITHER_WAY, 0), current + STEPS_EITHER_WAY + 1)
    fitting = [step for step in steps if strings_equal(totp.generate_otp(step), code)]
    return next((step for step in fitting if step > after), None)


def app_address(key: str, *, person: str, business: str) -> str:
    """What the QR code holds: an otpauth address with the names that the app shows."""
    totp = pyotp.TOTP(key, digits=TOTP_DIGITS, interval=STEP_SECONDS)
    return totp.provisioning_uri(
        name=person[:MAX_NAME_IN_APP], issuer_name=business.replace(":", " ")[:MAX_NAME_IN_APP]
    )
