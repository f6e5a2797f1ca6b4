"""Ready to send? Each part tried, the mail server with a test mail to oneself."""

import smtplib

from django.conf import settings
from django.contrib import messages
from django.core.mail import EmailMessage
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.messaging.actions.mail_server import note_mail_tested, save_mail_server
from clients.messaging.channels import SenderIdentity, mail_connection
from clients.messaging.forms.mail_server import MailServerForm, TestMailForm
from clients.messaging.incoming import has_bounce_mailbox, mail_service
from clients.messaging.models import MailServer
from clients.messaging.readiness import ReadyPart, local_parts, mail_server_label
from clients.messaging.sending_domain import Finding
from clients.messaging.views.sending_domain import domain_findings
from clients.models import Business
from clients.pages import business_of, current_user, office_required, owner_required
from clients.sealing import SealError

ENVIRONMENT_NAMES = ("EMAIL_HOST", "EMAIL_PORT", "EMAIL_HOST_USER")


@office_required
@require_GET
def show_ready(request: HttpRequest) -> HttpResponse:
    """The page `settings:ready`."""
    parts = ready_parts(business_of(request))
    missing = [part for part in parts if part.is_needed and not part.is_sound]
    return render(request, "settings/ready.html", {"parts": parts, "missing": missing})


def ready_parts(business: Business) -> list[ReadyPart]:
    """All of them, with what DNS says of the sending domain."""
    parts = [*local_parts(business), bounces_part()]
    return [*parts, domain_part(domain_findings(business))] if business.sender else parts


def bounces_part() -> ReadyPart:
    is_read = has_bounce_mailbox() or mail_service.uses_mail_service()
    words = (
        "What cannot be delivered is read."
        if is_read
        else "Nobody reads what cannot be delivered; look into the mailbox of the sender yourself."
    )
    return ReadyPart("Returned mail", words, is_read, "settings:coming_back", is_needed=False)


def domain_part(findings: list[Finding]) -> ReadyPart:
    """Large mailbox providers want SPF or DKIM of everybody; what DNS does not tell is no fault."""
    proofs = [each for each in findings if each.name in {"SPF", "DKIM"}]
    is_sound = any(each.verdict in {"good", "unknown"} for each in proofs)
    wrong = [each.name for each in findings if each.verdict not in {"good", "unknown"}]
    words = f"To mend: {', '.join(dict.fromkeys(wrong))}." if wrong else "As it should be."
    return ReadyPart("Sending domain", words, is_sound, "speech:domain", is_needed=not is_sound)


@sensitive_post_parameters("password")
@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_mail_server(request: HttpRequest) -> HttpResponse:
    """The page `settings:mail_server`; where the environment names one it is shown and stands."""
    row = MailServer.current() or MailServer(id=1)
    is_fixed = settings.EMAIL_FROM_ENVIRONMENT
    form = MailServerForm(None if is_fixed else request.POST or None, instance=row)
    if form.is_valid():
        save_mail_server(server=form.instance, password=form.cleaned_data["password"])
        messages.success(request, "Saved. Now send a test mail to yourself.")
        return redirect("settings:mail_server")
    context = {
        "form": form,
        "is_fixed": is_fixed,
        "fixed": [(name, getattr(settings, name)) for name in ENVIRONMENT_NAMES],
        "label": mail_server_label(),
        "is_tested": business_of(request).mail_tested_with == mail_server_label(),
        "test": TestMailForm(initial={"to": current_user(request).email}),
    }
    return render(request, "settings/mail_server.html", context)


@owner_required
@require_POST
def send_test_mail(request: HttpRequest) -> HttpResponse:
    """The action `settings:test_mail`: a mail to oneself, and what the server said."""
    form = TestMailForm(request.POST)
    business = business_of(request)
    if not form.is_valid():
        messages.error(request, "Write one e-mail address, such as name@example.com.")
    elif not business.sender:
        messages.error(request, "The business has no address to send from. Enter it first.")
    else:
        try_test_mail(request, business, form.cleaned_data["to"])
    return redirect("settings:mail_server")


def try_test_mail(request: HttpRequest, business: Business, to: str) -> None:
    try:
        mail = EmailMessage(
            subject=f"Test mail of {business.name}",
            body=f"This mail came by {mail_server_label()}. Links begin with {settings.BASE_URL}\n",
            from_email=SenderIdentity.for_business(business).sender,
            to=[to],
            headers={"Auto-Submitted": "auto-generated"},
            connection=mail_connection(),
        )
        mail.send()
    except (OSError, smtplib.SMTPException, SealError, ValueError) as error:
        messages.error(request, f"The test mail was not taken: {error}")
    else:
        note_mail_tested(business=business, label=mail_server_label())
        messages.success(request, f"The mail server took the test mail to {to}. Has it come?")
