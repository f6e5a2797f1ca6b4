"""The address that passkeys are made for, and the challenge that waits for its answer."""

import ipaddress
from datetime import datetime, timedelta

from django.contrib.auth import SESSION_KEY
from django.http import HttpRequest
from django.http.request import split_domain_port

from clients.signing_in import PasskeyError, PasskeySite

CHALLENGE_LASTS = timedelta(minutes=5)


def site_of(request: HttpRequest) -> PasskeySite:
    """As the browser sees it; Django has checked the host against ALLOWED_HOSTS."""
    host = request.get_host()
    return PasskeySite(split_domain_port(host)[0], f"{request.scheme}://{host}")


def has_name(request: HttpRequest) -> bool:
    """Passkeys want a name and no number, and https (localhost excepted; W3C WebAuthn, 5.1.3)."""
    host = site_of(request).host
    try:
        ipaddress.ip_address(host.strip("[]"))
    except ValueError:
        return request.is_secure() or host == "localhost" or host.endswith(".localhost")
    return False


def keep_challenge(request: HttpRequest, challenge: bytes, *, now: datetime) -> None:
    if SESSION_KEY not in request.session:  # of a visitor who may never come back
        request.session.set_expiry(2 * CHALLENGE_LASTS)
    until = (now + CHALLENGE_LASTS).timestamp()
    request.session["challenge"] = {"hex": challenge.hex(), "until": until}


def take_challenge(request: HttpRequest, *, now: datetime) -> bytes:
    """The one that waits; it is answered once. Raises `PasskeyError` if there is none."""
    kept = request.session.pop("challenge", None)
    if kept is None or kept["until"] <= now.timestamp():
        raise PasskeyError("No challenge waits for an answer.")
    return bytes.fromhex(kept["hex"])
