"""Erase a person, and the proofs of it."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.access import current_user, owner_required
from clients.actions.merging import counted, pointing_at
from clients.models import Client, ContactPoint, Erasure
from jobs.actions import erasing
from jobs.models import Job, Photo

PROOFS_A_PAGE = 50


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def erase_person(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:erase`: what goes and what stays, counted; then the proof."""
    client = get_object_or_404(Client, pk=pk)
    if request.method == "POST":
        try:
            erasing.erase_client(client=client, by=current_user(request), now=timezone.now())
        except erasing.ErasureError as error:
            messages.error(request, str(error))
            return redirect("jobs:erase", pk)
        messages.success(request, "Erased. This page keeps the proof.")
        return redirect("jobs:erasures")
    going = [
        counted(model, rows)
        for model, name in [(ContactPoint, "client"), *pointing_at(Client)]
        if (rows := model._base_manager.filter(**{name: client}).count())
    ]
    context = {
        "client": client,
        "going": going,
        "decks": erasing.decks_that_stay(client),
        "jobs": Job.objects.filter(deck__site__client=client).count(),
        "photos": Photo.objects.filter(deck__site__client=client).count(),
        "proof": Erasure.objects.filter(client_number=pk).first(),
    }
    return render(request, "jobs/erase.html", context)


@owner_required
@require_GET
def list_erasures(request: HttpRequest) -> HttpResponse:
    """The page `jobs:erasures`: who erased whom when, and how much; nobody is named."""
    rows = Erasure.objects.select_related("by")
    page = Paginator(rows, PROOFS_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "jobs/erasures.html", {"page": page})
