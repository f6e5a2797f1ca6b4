"""A password by a link: for who is invited, and for who forgot theirs."""

from axes.utils import reset
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from clients.actions import business as actions
from clients.forms.accounts import ForgottenPasswordForm, PersonPasswordForm
from clients.messaging.readiness import is_mail_proven
from clients.models import Business, User, is_primary_key
from clients.pages import FormPage, render_form_page, visitor_address
from clients.signing_in import ASKED_LINKS, is_link_good, person_key_of

# the same words whether there is such an account or not
ON_ITS_WAY = (
    "If there is such an account with an e-mail address, a link is on its way. It works for one"
    " hour."
)
ASK_THE_OWNER = "Mail does not go out yet. The owner can set a new password under Settings, People."
LINK_OVER = "This link is over, or was used already. Ask for a new one."
TOO_MANY_ASKED = "Too many links were asked for from here. Wait an hour, or ask the owner."


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def ask_for_link(request: HttpRequest) -> HttpResponse:
    """The page `forgotten_password`."""
    business = Business.current()
    if business is None or not is_mail_proven(business):
        messages.error(request, ASK_THE_OWNER)
        return redirect("sign_in")
    form = ForgottenPasswordForm(request.POST or None)
    status = 200
    if form.is_valid():
        now = timezone.now()
        if not ASKED_LINKS.is_reached(visitor_address(request), now=now):
            ASKED_LINKS.note_wrong(visitor_address(request), now=now)
            actions.send_forgotten_password(who=form.cleaned_data["who"], now=now)
            messages.success(request, ON_ITS_WAY)
            return redirect("sign_in")
        form.add_error(None, TOO_MANY_ASKED)
        status = 429
    back = reverse("sign_in")
    page = FormPage(
        "Forgot the password?",
        back=(back, "Sign in"),
        button="Send me a link",
        cancel=back,
        status=status,
    )
    return render_form_page(request, page, form=form)


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def set_by_link(request: HttpRequest, token: str) -> HttpResponse:
    """The page `password_by_link`. Opening it uses nothing up: programs that look at mail do."""
    key = person_key_of(token)
    people = User.objects.filter(is_active=True)
    person = people.filter(pk=int(key)).first() if is_primary_key(key) else None
    if person is None or not is_link_good(person, token):
        return link_is_over(request)
    form = PersonPasswordForm(person, request.POST or None)
    if form.is_valid():
        password = form.cleaned_data["new_password1"]
        if not actions.set_password_by_link(
            person=person, token=token, password=password, now=timezone.now()
        ):
            return link_is_over(request)
        reset(username=person.username)  # wrong passwords of before no longer keep them out
        messages.success(request, f"Your password is set. Sign in as {person.username}.")
        return redirect("sign_in")
    back = reverse("sign_in")
    page = FormPage(
        "Your new password",
        f"For {person.username}.",
        back=(back, "Sign in"),
        button="Set password",
        cancel=back,
    )
    return render_form_page(request, page, form=form)


def link_is_over(request: HttpRequest) -> HttpResponse:
    messages.error(request, LINK_OVER)
    return redirect("sign_in")
