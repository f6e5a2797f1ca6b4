"""Settings of what comes back: where it comes from, whether that works, and how long its words are
kept."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from clients.messaging.forms.inbound_settings import RetentionForm
from clients.messaging.incoming import has_bounce_mailbox, mail_service
from clients.messaging.models import InboundEvent
from clients.messaging.outbox import sender
from clients.models import Business
from clients.pages import business_of, owner_required

EVENTS_SHOWN = 8


@require_http_methods(["GET", "POST"])
@owner_required
def edit_inbound_settings(request: HttpRequest) -> HttpResponse:
    form = RetentionForm(
        request.POST or None, instance=Business.objects.get(pk=business_of(request).pk)
    )
    if form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("settings:coming_back")
    by_service = mail_service.uses_mail_service()
    context = {
        "form": form,
        "by_service": by_service,
        "is_proved": by_service and mail_service.can_verify_reports(),
        "hook": mail_hook_url() if by_service else "",
        "mailbox": (
            f"{settings.BOUNCES_USER} at {settings.BOUNCES_HOST}" if has_bounce_mailbox() else ""
        ),
        "trouble": (sender.down_reasons([sender.BOUNCE_MAILBOX]).get(sender.BOUNCE_MAILBOX, "")),
        "events": (
            InboundEvent.objects.exclude(source__startswith="text ").select_related("client")[
                :EVENTS_SHOWN
            ]
        ),
    }
    return render(request, "settings/coming_back.html", context)


def mail_hook_url() -> str:
    return settings.BASE_URL + reverse("mail_reports", args=[mail_service.service_name()])
