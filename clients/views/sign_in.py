"""Signing in and out: password, second step or passkey, and the form that was interrupted."""

from datetime import datetime, timedelta
from typing import Any

from axes.helpers import get_cool_off
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import views
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from clients.actions.second_steps import note_passkey_used, use_code, warn_of_wrong_codes
from clients.forms import form_recovery
from clients.forms.accounts import CodeForm, SignInForm
from clients.messaging.readiness import is_mail_proven
from clients.models import Authenticator, Passkey, User
from clients.pages import business_of, visitor_address
from clients.signing_in import (
    PASSWORDS,
    PasskeyError,
    check_passkey_use,
    passkey_id_of,
    request_options,
    second_step_limit,
)
from clients.views.passkey_site import has_name, keep_challenge, site_of, take_challenge
from clients.views.sessions import HalfSignIn, start_session

TOO_MANY_CODES = (
    "Too many wrong codes. Wait an hour, use a passkey, or ask the owner to reset your second step."
)
WRONG_CODE = "That code is wrong or was used already. Type the one that the app shows now."
PASSKEY_REFUSED = "That passkey did not sign you in. Try again, or use your password."
SET_UP_FIRST = (
    "Nothing was saved yet. Set up your second step under Settings, Signing in, in another window;"
    " then send this again."
)


@method_decorator(login_not_required, name="dispatch")
class SignInView(views.LoginView):
    """Back to the page that was asked for; with what was typed there, if a form was interrupted."""

    authentication_form = SignInForm
    template_name = "clients/sign_in.html"
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        if getattr(request, "business", None) is None:
            return redirect("first_visit")
        if request.method == "POST" and PASSWORDS.is_reached(
            visitor_address(request), now=timezone.now()
        ):
            return locked_out(request)
        return super().dispatch(request, *args, **kwargs)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "half" in request.session:  # whoever comes here begins again, perhaps somebody else
            del request.session["half"]
        return super().get(request, *args, **kwargs)

    def form_invalid(self, form: Any) -> HttpResponse:
        PASSWORDS.note_wrong(visitor_address(self.request), now=timezone.now())
        return super().form_invalid(form)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            **kwargs,
            **sign_in_context(self.request),
            kept=self.request.POST.get("kept", ""),
            is_on_phone="#take-up=" in self.get_redirect_url(),  # kept/list.js sends people here
        )

    def form_valid(self, form: Any) -> HttpResponse:
        request = self.request
        half = HalfSignIn.of(
            form.get_user(),
            goes_to=self.get_success_url(),
            kept=request.POST.get("kept", ""),
            is_trusted=form.cleaned_data["stay"],
            now=timezone.now(),
        )
        if not form.get_user().has_second_step:
            return finish_sign_in(request, form.get_user(), half)
        half.keep(request)
        return redirect("second_step")


def sign_in_context(request: HttpRequest) -> dict[str, Any]:
    """What the page of signing in says besides its form."""
    return {
        "has_passkeys": Passkey.objects.exists() and has_name(request),
        "mails_links": is_mail_proven(business_of(request)),
    }


def finish_sign_in(request: HttpRequest, person: User, half: HalfSignIn) -> HttpResponse:
    """The session begins; the interrupted form comes back, or the page that was asked for."""
    pairs = form_recovery.unpack_fields(half.kept)
    response = redirect(half.goes_to)
    start_session(request, person, is_trusted=half.is_trusted, response=response)
    if not pairs:
        return response
    recovered = show_recovered_form(request, half.goes_to, pairs)
    recovered.cookies = response.cookies
    return recovered


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def second_step(request: HttpRequest) -> HttpResponse:
    """A code of the app or a recovery code, or a passkey, after the password."""
    now = timezone.now()
    half = HalfSignIn.kept_in(request, now=now)
    person = half.owner() if half else None
    if half is None or person is None:
        return redirect("sign_in")
    form = CodeForm(request.POST or None)
    is_shut = second_step_limit(person.pk).is_reached(visitor_address(request), now=now)
    if is_shut:
        form = CodeForm({})
        form.errors.clear()
        form.add_error(None, TOO_MANY_CODES)
    elif form.is_valid() and is_code_right(request, person, form, now=now):
        return finish_sign_in(request, person, half)
    context = {
        "form": form,
        "has_passkeys": person.passkeys.exists() and has_name(request),
        "has_app": Authenticator.objects.filter(user=person).exists(),
    }
    status = 429 if is_shut else 200
    return render(request, "clients/second_step.html", context, status=status)


def is_code_right(request: HttpRequest, person: User, form: CodeForm, *, now: datetime) -> bool:
    """A wrong one is counted and named in the form."""
    if use_code(person=person, code=form.cleaned_data["code"], now=now):
        return True
    limit = second_step_limit(person.pk)
    limit.note_wrong(visitor_address(request), now=now)
    if limit.is_reached(visitor_address(request), now=now):
        warn_of_wrong_codes(person=person, now=now)
    form.add_error("code", WRONG_CODE)
    return False


@login_not_required
@require_POST
def sign_in_options(request: HttpRequest) -> HttpResponse:
    """What the browser asks its passkeys: those of who gave the password, else any it holds."""
    now = timezone.now()
    if PASSWORDS.is_reached(visitor_address(request), now=now):
        return HttpResponse(status=429)
    half = HalfSignIn.kept_in(request, now=now)
    known = Passkey.objects.filter(user=half.person) if half else Passkey.objects.none()
    ids = [bytes(each) for each in known.values_list("credential_id", flat=True)]
    options, challenge = request_options(site_of(request), known=ids, verify_person=half is None)
    keep_challenge(request, challenge, now=now)
    return HttpResponse(options, content_type="application/json")


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_POST
def sign_in_by_passkey(request: HttpRequest) -> HttpResponse:
    """After the password as the second step; without it in place of both, if the device has made
    sure of the person."""
    now = timezone.now()
    if PASSWORDS.is_reached(visitor_address(request), now=now):
        return locked_out(request)
    half = HalfSignIn.kept_in(request, now=now)
    try:
        passkey = check_answer(request, half, now=now)
    except PasskeyError:
        PASSWORDS.note_wrong(visitor_address(request), now=now)
        messages.error(request, PASSKEY_REFUSED)
        return redirect("second_step" if half else "sign_in")
    return finish_sign_in(request, passkey.user, half or half_by_passkey(request, passkey.user))


def check_answer(request: HttpRequest, half: HalfSignIn | None, *, now: datetime) -> Passkey:
    """The passkey that was used. Raises `PasskeyError`."""
    answer = request.POST.get("answer", "")
    people = Passkey.objects.select_related("user").filter(user__is_active=True)
    if half:
        owner = half.owner()
        people = people.filter(user=owner) if owner else people.none()
    passkey = people.filter(credential_id=passkey_id_of(answer)).first()
    if passkey is None:
        raise PasskeyError("Nobody has this passkey.")
    used = check_passkey_use(
        answer,
        passkey.known,
        challenge=take_challenge(request, now=now),
        site=site_of(request),
        verify_person=half is None,
    )
    if not note_passkey_used(passkey=passkey, used=used, now=now):
        raise PasskeyError("It was used elsewhere just now.")
    return passkey


def half_by_passkey(request: HttpRequest, person: User) -> HalfSignIn:
    """As the page of signing in says it, where no password was typed."""
    asked = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(
        asked, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return HalfSignIn.of(
        person,
        goes_to=asked if is_ours else resolve_url(settings.LOGIN_REDIRECT_URL),
        kept=request.POST.get("kept", ""),
        is_trusted=bool(request.POST.get("stay")),
        now=timezone.now(),
    )


sign_in = SignInView.as_view()


class SignOutView(views.LogoutView):
    """On a telephone that is handed on, Back shows nothing, and nothing of the book is kept: no
    page, no form that was not sent (the page asks before)."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        response = super().post(request, *args, **kwargs)
        response["Clear-Site-Data"] = '"cache", "storage"'
        return response


sign_out = login_not_required(SignOutView.as_view())


def show_recovered_form(
    request: HttpRequest, action: str, pairs: form_recovery.FieldPairs
) -> HttpResponse:
    """The interrupted form, one press away."""
    context = {
        "action": action,
        "pairs": pairs,
        "readable": list(form_recovery.readable_fields(pairs)),
        "is_signed_in_again": True,
    }
    return render(request, "send_again.html", context)


def show_interrupted_form(request: HttpRequest) -> HttpResponse:
    """Instead of a page: somebody who is no longer signed in sent a form."""
    pairs = form_recovery.submitted_fields(request)
    context = sign_in_context(request) | {
        "form": SignInForm(request),
        "next": request.get_full_path(),
        "kept": form_recovery.pack_fields(pairs),
        "is_interrupted": True,
        "readable": list(form_recovery.readable_fields(pairs)),
        "has_files": form_recovery.has_files(request),
    }
    return render(request, "clients/sign_in.html", context, status=403)


def show_form_before_set_up(request: HttpRequest) -> HttpResponse:
    """Instead of a page: somebody who has to set up a second step first sent a form."""
    messages.error(request, SET_UP_FIRST)
    pairs = form_recovery.submitted_fields(request)
    return show_recovered_form(request, request.get_full_path(), pairs)


def locked_out(request: HttpRequest, *args: Any) -> HttpResponse:
    """Too many wrong passwords; each further try starts the wait again."""
    wait = get_cool_off(request) or timedelta(minutes=15)
    minutes = max(1, round(wait.total_seconds() / 60))
    again_at = timezone.now() + wait + timedelta(minutes=1)
    context = {"why": "locked", "again_at": again_at, "minutes": minutes}
    response = render(request, "went_wrong.html", context, status=429)
    response["Retry-After"] = str(int(wait.total_seconds()))
    return response
