"""Settings of what comes back: where it comes from, whether that works, and how long its words are kept."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from clients.access import business_of, manages
from clients.messaging.forms.inbound_settings import RetentionForm
from clients.messaging.incoming import bounces
from clients.messaging.incoming.hooks import mail_service
from clients.messaging.models import InboundEvent
from clients.messaging.outbox import channel_health
from clients.models import Business

SHOWN = 8


@require_http_methods(["GET", "POST"])
@manages
def coming_back(request: HttpRequest) -> HttpResponse:
    form = RetentionForm(request.POST or None, instance=Business.objects.get(pk=business_of(request).pk))
    if form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("settings:coming_back")
    by_service = mail_service.is_configured()
    context = {
        "form": form, "by_service": by_service, "is_proved": by_service and mail_service.is_proved(),
        "hook": address_of_hook() if by_service else "",
        "mailbox": f"{settings.BOUNCES_USER} at {settings.BOUNCES_HOST}" if bounces.is_configured() else "",
        "trouble": channel_health.of([channel_health.BOUNCES]).get(channel_health.BOUNCES, ""),
        "events": InboundEvent.objects.exclude(source__startswith="text ").select_related("client")[:SHOWN],
    }  # fmt: skip
    return render(request, "settings/coming_back.html", context)


def address_of_hook() -> str:
    return settings.BASE_URL + reverse("mail_reports", args=[mail_service.name()])
