"""Signing in and out, and one's own password."""

from datetime import timedelta
from typing import Any

from axes.helpers import get_cool_off
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash, views
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from clients.access import current_user
from clients.actions import business as actions
from clients.form_page import FormPage, render_form_page
from clients.forms import form_recovery
from clients.forms.accounts import OwnPasswordForm, SignInForm
from clients.guessing import PASSWORDS


@method_decorator(login_not_required, name="dispatch")
class SignInView(views.LoginView):
    """Back to the page that was asked for; with what was typed there, if a form was interrupted."""

    authentication_form = SignInForm
    template_name = "clients/sign_in.html"
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        if getattr(request, "business", None) is None:
            return redirect("first_visit")
        if request.method == "POST" and PASSWORDS.is_reached(visitor(request), now=timezone.now()):
            return locked_out(request)
        return super().dispatch(request, *args, **kwargs)

    def form_invalid(self, form: Any) -> HttpResponse:
        PASSWORDS.note_wrong(visitor(self.request), now=timezone.now())
        return super().form_invalid(form)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            **kwargs,
            kept=self.request.POST.get("kept", ""),
            is_on_phone="#take-up=" in self.get_redirect_url(),  # kept/list.js sends people here
        )

    def form_valid(self, form: Any) -> HttpResponse:
        response = super().form_valid(form)
        pairs = form_recovery.unpack_fields(self.request.POST.get("kept", ""))
        return (
            show_recovered_form(self.request, self.get_success_url(), pairs) if pairs else response
        )


def visitor(request: HttpRequest) -> str:
    return str(request.META.get("REMOTE_ADDR", ""))


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
    context = {
        "form": SignInForm(request),
        "next": request.get_full_path(),
        "kept": form_recovery.pack_fields(pairs),
        "is_interrupted": True,
        "readable": list(form_recovery.readable_fields(pairs)),
        "has_files": form_recovery.has_files(request),
    }
    return render(request, "clients/sign_in.html", context, status=403)


def locked_out(request: HttpRequest, *args: Any) -> HttpResponse:
    """Too many wrong passwords; each further try starts the wait again."""
    wait = get_cool_off(request) or timedelta(minutes=15)
    minutes = max(1, round(wait.total_seconds() / 60))
    again_at = timezone.now() + wait + timedelta(minutes=1)
    context = {"why": "locked", "again_at": again_at, "minutes": minutes}
    response = render(request, "went_wrong.html", context, status=429)
    response["Retry-After"] = str(int(wait.total_seconds()))
    return response


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def own_password(request: HttpRequest) -> HttpResponse:
    form = OwnPasswordForm(current_user(request), request.POST or None)
    if form.is_valid():
        actions.change_user_password(person=form.user, password=form.cleaned_data["new_password1"])
        update_session_auth_hash(request, form.user)
        messages.success(request, "Your password is changed. Other devices have to sign in again.")
        return redirect("settings:overview")
    settings = reverse("settings:overview")
    page = FormPage(
        "My password", back=(settings, "Settings"), button="Change password", cancel=settings
    )
    return render_form_page(request, page, form=form)
