"""The call list, and the buttons under each call."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.messaging.actions import calls as actions
from clients.messaging.channels import calls as call_list
from clients.messaging.forms.calls import CallForm
from clients.messaging.models import CallNote, Message
from clients.models import channels_with
from clients.pages import business_of, current_user, office_required

CALL_BUTTONS = [(result.value, str(result.label)) for result in CallNote.Result]


@require_GET
@office_required
def list_calls(request: HttpRequest) -> HttpResponse:
    found = call_list.due_calls(business_of(request), now=timezone.now())
    context = {
        "calls": [call for call in found if not call.why_not],
        "not_to_be_made": [call for call in found if call.why_not],
        "later": call_list.waiting_calls().count() - len(found),
        "recent": CallNote.objects.select_related("message__client", "by")[:10],
        "buttons": CALL_BUTTONS,
    }
    return render(request, "clients/calls.html", context)


@require_POST
@office_required
def note_call(request: HttpRequest, pk: int) -> HttpResponse:
    spoken = Message.objects.filter(channel__in=channels_with("is_spoken"))
    message = get_object_or_404(spoken.select_related("client"), pk=pk)
    form = CallForm(request.POST)
    if not form.is_valid():
        messages.error(
            request, " ".join(str(error) for errors in form.errors.values() for error in errors)
        )
        return redirect("channels:calls")
    result = form.cleaned_data["result"]
    note = form.cleaned_data["note"]
    if actions.record_call_result(
        message=message, result=result, note=note, by=current_user(request), now=timezone.now()
    ):
        messages.success(
            request, f"Noted for {message.client.name}: {CallNote.Result(result).label.lower()}."
        )
    else:
        messages.warning(
            request, f"Nothing was changed: {message.client.name} is not on the list any more."
        )
    return redirect("channels:calls")
