"""A session from its beginning: who it is, on which device, for how long, and how lately they
proved it."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth import SESSION_KEY, login, logout, update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from clients.actions import devices
from clients.actions.second_steps import is_second_step_required
from clients.models import Device, User
from clients.pages import ViewFunction, current_user
from clients.signing_in import device_words

BACKEND = "django.contrib.auth.backends.ModelBackend"
BROWSER_COOKIE = "browser"
BROWSER_COOKIE_DAYS = 400  # the longest that browsers keep one
TRUSTED_DAYS = 30
UNTRUSTED_HOURS = 12
PROOF_LASTS = timedelta(minutes=15)
HALF_LASTS = timedelta(minutes=10)
SEEN_EVERY = timedelta(minutes=10)


@dataclass(frozen=True)
class HalfSignIn:
    """The password was right and the second step is still to come; kept in the session."""

    person: int
    password_proof: str  # changes with the password, and then this is over
    goes_to: str
    kept: str  # the interrupted form, as form_recovery packs it
    is_trusted: bool
    until: float  # seconds since 1970

    @classmethod
    def of(
        cls, person: User, *, goes_to: str, kept: str, is_trusted: bool, now: datetime
    ) -> "HalfSignIn":
        proof = person.get_session_auth_hash()
        return cls(person.pk, proof, goes_to, kept, is_trusted, (now + HALF_LASTS).timestamp())

    def keep(self, request: HttpRequest) -> None:
        request.session.cycle_key()
        request.session.set_expiry(HALF_LASTS)
        request.session["half"] = asdict(self)

    @classmethod
    def kept_in(cls, request: HttpRequest, *, now: datetime) -> "HalfSignIn | None":
        """The one that is going on, if it is not too old."""
        found = request.session.get("half")
        half = cls(**found) if found else None
        return half if half and half.until > now.timestamp() else None

    def owner(self) -> User | None:
        """Whose it is, if the password is still that one."""
        person = User.objects.filter(pk=self.person, is_active=True).first()
        is_same = person and person.get_session_auth_hash() == self.password_proof
        return person if is_same else None


def start_session(
    request: HttpRequest, person: User, *, is_trusted: bool, response: HttpResponse
) -> HttpResponse:
    """Sign the person in; `response` carries the cookie by which the browser is known again."""
    now = timezone.now()
    is_first = person.last_login is None
    login(request, person, backend=BACKEND)
    session = request.session
    session.pop("half", None)
    ends_at = None if is_trusted else now + timedelta(hours=UNTRUSTED_HOURS)
    session.set_expiry(TRUSTED_DAYS * 86400 if is_trusted else 0)
    session["ends_at"] = ends_at.timestamp() if ends_at else None
    session["seen_at"] = session["proven_at"] = now.timestamp()
    session["must_set_up"] = is_second_step_required(person) and not person.has_second_step
    session.save()
    browser = request.COOKIES.get(BROWSER_COOKIE) or devices.new_browser_secret()
    words = device_words(request.headers.get("User-Agent", ""))
    opened = devices.OpenedSession(browser, words, session.session_key or "", ends_at)
    device = devices.note_sign_in(person=person, opened=opened, is_first=is_first, now=now)
    session["device"] = device.pk
    response.set_cookie(
        BROWSER_COOKIE,
        browser,
        max_age=BROWSER_COOKIE_DAYS * 86400,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
    return response


def keep_session(request: HttpRequest) -> None:
    """This session goes on after all others of the person were ended."""
    person = User.objects.get(pk=current_user(request).pk)
    update_session_auth_hash(request, person)
    request.user = person
    own = Device.objects.filter(pk=request.session.get("device", 0), user=person)
    own.update(session_key=request.session.session_key or "")


def end_if_over(request: HttpRequest, *, now: datetime) -> None:
    """Twelve hours after signing in on a device that is not trusted, whatever the browser does."""
    ends_at = request.session.get("ends_at")
    if ends_at and ends_at <= now.timestamp():
        logout(request)


def note_seen(request: HttpRequest, *, now: datetime) -> None:
    """When the device was last here, to some minutes."""
    session = request.session
    seen_at = session.get("seen_at")
    if seen_at and now.timestamp() - seen_at > SEEN_EVERY.total_seconds():
        session["seen_at"] = now.timestamp()
        Device.objects.filter(pk=session.get("device", 0)).update(last_seen_at=now)


def is_signed_in(request: HttpRequest) -> bool:
    return SESSION_KEY in request.session


def has_to_set_up(request: HttpRequest) -> bool:
    """Whether this session leads nowhere before a second step is set up."""
    if not request.session.get("must_set_up"):
        return False
    if current_user(request).has_second_step:
        request.session["must_set_up"] = False
    return bool(request.session["must_set_up"])


def note_proof(request: HttpRequest, *, now: datetime) -> None:
    """The person has just typed the password again."""
    request.session["proven_at"] = now.timestamp()


def has_lately_proven(request: HttpRequest, *, now: datetime) -> bool:
    proven_at = datetime.fromtimestamp(request.session.get("proven_at") or 0, UTC)
    return now - proven_at < PROOF_LASTS


def proof_required(view: ViewFunction) -> Callable[..., HttpResponse]:
    """For what changes how somebody signs in: a telephone left lying about must not do it."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if has_lately_proven(request, now=timezone.now()):
            return view(request, *args, **kwargs)
        return ask_for_proof(
            request.path if request.method == "GET" else reverse("settings:signing_in")
        )

    return guarded


def ask_for_proof(back: str) -> HttpResponse:
    """The page that asks for the password once more, and then leads to `back`."""
    return redirect(f"{reverse('settings:prove_it_is_you')}?{urlencode({'next': back})}")
