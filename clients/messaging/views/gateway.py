"""Settings of the text message gateway:
the owner describes it, tries it, and gives it the addresses of our hooks."""

from collections.abc import Sequence

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from clients.messaging.actions import gateway as actions
from clients.messaging.channels import SendResult, TransportDownError
from clients.messaging.forms.gateway import GatewayForm, TrialForm
from clients.messaging.models import InboundEvent, TextGateway
from clients.pages import business_of, owner_required

RESULT_MESSAGES = {
    SendResult.ACCEPTED: "The gateway took it. Look at your telephone.",
    SendResult.NOT_NOW: "The gateway did not take it for now.",
    SendResult.REFUSED: "The gateway refused it.",
    SendResult.UNKNOWN: (
        "It was handed over and the answer was lost or not understood. Look at your telephone."
    ),
}


@require_http_methods(["GET", "POST"])
@owner_required
def edit_gateway(request: HttpRequest) -> HttpResponse:
    row = TextGateway.objects.filter(id=1).first() or TextGateway(id=1)
    country = business_of(request).country
    form = GatewayForm(request.POST or None, instance=row, country=country)
    if form.is_valid():
        actions.save_gateway(gateway=form.instance)
        messages.success(
            request,
            "Saved. Text messages go out by it." if row.is_on else "Saved. It is not in use yet.",
        )
        return redirect("settings:gateway")
    return render_gateway(request, row, form)


def render_gateway(
    request: HttpRequest,
    row: TextGateway,
    form: GatewayForm,
    addresses: Sequence[tuple[str, str]] = (),
) -> HttpResponse:
    """`addresses` are those for its reports, in words and whole, shown only when they are new."""
    context = {
        "form": form,
        "row": row,
        "is_kept": not row._state.adding,
        "addresses": addresses,
        "trial": TrialForm(country=business_of(request).country),
        "events": (
            InboundEvent.objects.filter(source__startswith="text ").select_related("client")[:8]
        ),
    }
    return render(request, "settings/gateway.html", context)


@require_POST
@owner_required
@never_cache
def hook_secret(request: HttpRequest) -> HttpResponse:
    """The one answer to a post that is a page: the secret is shown here, once, and kept nowhere."""
    row = TextGateway.objects.filter(id=1).first()
    if row is None:
        messages.warning(request, "Save the gateway first.")
        return redirect("settings:gateway")
    secret = actions.create_hook_secret(gateway=row)
    addresses = [
        (words, settings.BASE_URL + reverse(name, kwargs={"secret": secret}))
        for words, name in (
            ("Reports of delivery", "text_status"),
            ("Answers of clients", "text_inbound"),
        )
    ]
    form = GatewayForm(instance=row, country=business_of(request).country)
    return render_gateway(request, row, form, addresses)


@require_POST
@owner_required
def try_gateway(request: HttpRequest) -> HttpResponse:
    form = TrialForm(request.POST, country=business_of(request).country)
    if not form.is_valid():
        messages.error(request, " ".join(str(error) for error in form.errors["number"]))
        return redirect("settings:gateway")
    try:
        outcome = actions.send_trial(
            business=business_of(request), number=form.cleaned_data["number"], now=timezone.now()
        )
    except TransportDownError as error:
        messages.error(request, f"Nothing was sent: {error}")
        return redirect("settings:gateway")
    add_message = messages.success if outcome.result is SendResult.ACCEPTED else messages.warning
    add_message(request, f"{RESULT_MESSAGES[outcome.result]} Its answer: {outcome.reply or 'none'}")
    return redirect("settings:gateway")
