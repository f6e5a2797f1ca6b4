"""Settings, Signing in: one's own password, second step, passkeys and devices."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import mark_safe
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clients.actions import business as actions
from clients.actions import devices, second_steps
from clients.actions.second_steps import SecondStepError
from clients.forms.accounts import CodeForm, CurrentPasswordForm, OwnPasswordForm, PasskeyForm
from clients.models import Authenticator, User
from clients.pages import FormPage, business_of, current_user, render_form_page, visitor_address
from clients.qr import qr_svg
from clients.sealing import SealError, seal, unseal
from clients.signing_in import (
    PASSWORDS,
    PasskeyError,
    app_address,
    check_new_passkey,
    creation_options,
    new_totp_key,
)
from clients.views.passkey_site import has_name, keep_challenge, site_of, take_challenge
from clients.views.sessions import keep_session, note_proof, proof_required
from clients.views.sign_in import locked_out

KEY_GROUP = 4
NOT_MADE = "The passkey was not made. Try again."


@require_safe
@never_cache
def show_signing_in(request: HttpRequest) -> HttpResponse:
    """The page `settings:signing_in`."""
    person = current_user(request)
    now = timezone.now()
    context = {
        "app": Authenticator.objects.filter(user=person).first(),
        "passkeys": person.passkeys.all(),
        "passkey_form": PasskeyForm(),
        "has_name": has_name(request),
        "codes_left": person.recovery_codes.filter(used_at=None).count(),
        "has_second_step": person.has_second_step,
        "is_required": second_steps.is_second_step_required(person),
        "must_set_up": request.session.get("must_set_up"),
        "devices": person.devices.signed_in(now=now),
        "own_device": request.session.get("device"),
    }
    return render(request, "settings/signing_in.html", context)


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def own_password(request: HttpRequest) -> HttpResponse:
    form = OwnPasswordForm(current_user(request), request.POST or None)
    if form.is_valid():
        actions.change_user_password(
            person=form.user, password=form.cleaned_data["new_password1"], now=timezone.now()
        )
        keep_session(request)
        messages.success(request, "Your password is changed. Other devices have to sign in again.")
        return redirect("settings:signing_in")
    back = reverse("settings:signing_in")
    page = FormPage(
        "My password",
        back=(back, "Signing in"),
        button="Change password",
        cancel=back,
    )
    return render_form_page(request, page, form=form)


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def prove_it_is_you(request: HttpRequest) -> HttpResponse:
    """The password again, before something changes how this person signs in."""
    now = timezone.now()
    if request.method == "POST" and PASSWORDS.is_reached(visitor_address(request), now=now):
        return locked_out(request)
    form = CurrentPasswordForm(request.POST or None)
    if form.is_valid():
        if current_user(request).check_password(form.cleaned_data["password"]):
            note_proof(request, now=now)
            return redirect(page_after_proof(request))
        PASSWORDS.note_wrong(visitor_address(request), now=now)
        form.add_error("password", "That is not your password.")
    back = reverse("settings:signing_in")
    page = FormPage(
        "Is it you?",
        "Type your password once more to change how you sign in.",
        back=(back, "Signing in"),
        button="Go on",
        cancel=back,
    )
    return render_form_page(request, page, form=form)


def page_after_proof(request: HttpRequest) -> str:
    asked = request.GET.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(asked, allowed_hosts={request.get_host()})
    return asked if is_ours else reverse("settings:signing_in")


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@proof_required
def set_up_app(request: HttpRequest) -> HttpResponse:
    """The page `settings:app`: the key as a QR code and to type; a first code proves it."""
    key = key_to_set_up(request)
    form = CodeForm(request.POST or None)
    if form.is_valid():
        code = form.cleaned_data["code"]
        try:
            second_steps.set_up_authenticator(
                person=current_user(request), key=key, code=code, now=timezone.now()
            )
        except SecondStepError as error:
            form.add_error("code", str(error))
        else:
            del request.session["new_key"]
            return finish_set_up(request, "The app is set up.")
    back = reverse("settings:signing_in")
    page = FormPage(
        "Authenticator app",
        back=(back, "Signing in"),
        before="settings/_app_key.html",
        button="Set up",
        cancel=back,
    )
    return render_form_page(request, page, **app_context(request, key, form))


def app_context(request: HttpRequest, key: str, form: CodeForm) -> dict[str, object]:
    address = app_address(
        key, person=current_user(request).username, business=business_of(request).name
    )
    try:
        drawing = qr_svg(address, "Code for your authenticator app")
    except ValueError:  # names with many letters beyond ASCII: the key can still be typed
        drawing = ""
    groups = [key[start : start + KEY_GROUP] for start in range(0, len(key), KEY_GROUP)]
    return {"form": form, "drawing": mark_safe(drawing), "key": " ".join(groups)}  # noqa: S308


def key_to_set_up(request: HttpRequest) -> str:
    """The same one until its first code is right; sealed while it waits."""
    try:
        key = unseal(request.session.get("new_key", ""))
    except SealError:
        key = ""
    if not key:
        key = new_totp_key()
        request.session["new_key"] = seal(key)
    return key


def finish_set_up(request: HttpRequest, words: str) -> HttpResponse:
    """The session goes on; with the first second step come the recovery codes."""
    keep_session(request)
    messages.success(request, f"{words} Other devices have to sign in again.")
    if not current_user(request).recovery_codes.exists():
        return show_new_codes(request)
    return redirect("settings:signing_in")


def show_new_codes(request: HttpRequest) -> HttpResponse:
    """Shown this once."""
    codes = second_steps.make_recovery_codes(person=current_user(request), now=timezone.now())
    keep_session(request)
    response = render(request, "settings/recovery_codes.html", {"codes": codes})
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@proof_required
def renew_codes(request: HttpRequest) -> HttpResponse:
    """The page `settings:recovery_codes`."""
    try:
        return show_new_codes(request)
    except SecondStepError as error:
        messages.error(request, str(error))
        return redirect("settings:signing_in")


@require_POST
@proof_required
def remove_app(request: HttpRequest) -> HttpResponse:
    try:
        second_steps.remove_authenticator(person=current_user(request), now=timezone.now())
    except SecondStepError as error:
        messages.error(request, str(error))
    else:
        keep_session(request)
        messages.success(request, "The app is removed. Other devices have to sign in again.")
    return redirect("settings:signing_in")


@require_POST
@proof_required
def passkey_options(request: HttpRequest) -> HttpResponse:
    """What the browser needs to make one."""
    person = current_user(request)
    options, challenge = creation_options(
        site_of(request),
        business=business_of(request).name,
        person=person.username,
        handle=second_steps.give_passkey_handle(person=person).bytes,
        known=[bytes(each) for each in person.passkeys.values_list("credential_id", flat=True)],
    )
    keep_challenge(request, challenge, now=timezone.now())
    return HttpResponse(options, content_type="application/json")


@require_POST
@proof_required
def keep_new_passkey(request: HttpRequest) -> HttpResponse:
    form = PasskeyForm(request.POST)
    now = timezone.now()
    if not form.is_valid():
        messages.error(request, "Give the passkey a name of at most 60 characters.")
        return redirect("settings:signing_in")
    try:
        challenge = take_challenge(request, now=now)
        made = check_new_passkey(
            form.cleaned_data["answer"], challenge=challenge, site=site_of(request)
        )
        second_steps.add_passkey(
            person=current_user(request), made=made, name=form.cleaned_data["name"], now=now
        )
    except PasskeyError:
        messages.error(request, NOT_MADE)
    except SecondStepError as error:
        messages.error(request, str(error))
    else:
        return finish_set_up(request, "The passkey is added.")
    return redirect("settings:signing_in")


@require_POST
@proof_required
def drop_passkey(request: HttpRequest, pk: int) -> HttpResponse:
    passkey = get_object_or_404(current_user(request).passkeys, pk=pk)
    try:
        second_steps.remove_passkey(passkey=passkey, now=timezone.now())
    except SecondStepError as error:
        messages.error(request, str(error))
    else:
        keep_session(request)
        messages.success(request, f"{passkey} is removed. Other devices have to sign in again.")
    return redirect("settings:signing_in")


@require_POST
def end_session(request: HttpRequest, pk: int) -> HttpResponse:
    """Signs one device out."""
    device = get_object_or_404(current_user(request).devices, pk=pk)
    devices.end_session_on(device=device)
    messages.success(request, f"Signed out: {device}.")
    return redirect("settings:signing_in")


@require_POST
def end_other_sessions(request: HttpRequest) -> HttpResponse:
    """Signs out everywhere but here."""
    person = User.objects.get(pk=current_user(request).pk)
    second_steps.end_all_sessions(person=person)
    keep_session(request)
    messages.success(request, "All other devices have to sign in again.")
    return redirect("settings:signing_in")
