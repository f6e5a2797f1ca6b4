"""Details that a client wrote on their page, beside those on file: accept them or leave them."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.notation import EmailError, PhoneError
from clients.pages import current_user, office_required
from reminders import client_page
from reminders.models import ClientAnswer


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def review_client_details(request: HttpRequest, pk: int) -> HttpResponse:
    rows = ClientAnswer.objects.select_related("link__message__client", "decided_by")
    answer = get_object_or_404(rows, pk=pk, kind=ClientAnswer.Kind.DETAILS)
    client = answer.link.message.client
    if request.method == "POST":
        is_accepted = request.POST.get("decision") == "accept"
        try:
            client_page.take_over_details(
                answer=answer, is_accepted=is_accepted, by=current_user(request), now=timezone.now()
            )
        except (EmailError, PhoneError) as error:
            messages.error(request, f"Nothing was saved. {error}")
            return redirect("steps:details", pk)
        said = "The new details are saved; the former ones stay." if is_accepted else "Left."
        messages.success(request, said)
        return redirect("clients:detail", client.pk)
    context = {"answer": answer, "client": client, "rows": client_page.compare_details(answer)}
    return render(request, "reminders/client_details.html", context)
