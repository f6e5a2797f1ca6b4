"""The list of matters that only a person can settle."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from clients.access import current_user, office_required
from clients.messaging.actions import to_dos
from clients.messaging.models import ToDo

TO_DOS_PER_PAGE = 50


@office_required
@require_GET
def to_do_list(request: HttpRequest) -> HttpResponse:
    rows = ToDo.objects.open().select_related("client")
    done = (
        ToDo.objects.exclude(done_at=None)
        .select_related("client", "done_by")
        .order_by("-done_at")[:20]
    )
    page = Paginator(rows, TO_DOS_PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "clients/to_do_list.html", {"page": page, "done": done})


@office_required
@require_POST
def to_do_done(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(ToDo, pk=pk)
    to_dos.complete_to_do(to_do=row, by=current_user(request), now=timezone.now())
    messages.success(request, "Settled.")
    back = request.POST.get("back", "")
    is_ours = url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()})
    return redirect(back if is_ours else "outbox:to_do")
