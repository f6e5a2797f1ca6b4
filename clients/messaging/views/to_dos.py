"""Matters that only a person can see to: they stand in the inbox of the page Today."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients.messaging.actions import to_dos
from clients.messaging.models import ToDo
from clients.pages import current_user, office_required, redirect_back


@office_required
@require_POST
def to_do_done(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(ToDo, pk=pk)
    to_dos.complete_to_do(to_do=row, by=current_user(request), now=timezone.now())
    messages.success(request, "Done.")
    return redirect_back(request, "today")
