"""Erase a person, and the proofs of it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.actions.merging import counted, pointing_at
from clients.models import Client, ContactPoint, Erasure
from clients.pages import (
    FormPage,
    ListPage,
    current_user,
    owner_required,
    render_form_page,
    render_list_page,
)
from jobs.actions import erasing
from jobs.models import Job, Photo


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
    proof = Erasure.objects.filter(client_number=pk).first()
    page = FormPage(
        f"Erase {client.name}",
        "For good: it cannot be undone.",
        before="jobs/_erase.html",
        button="Erase this person for good",
        cancel=reverse("clients:detail", args=[pk]),
        cancel_words="Keep",
        is_danger=True,
        has_form=not proof,
    )
    crumbs = {"client": client, "leaf": "Erase"}
    context = what_goes_and_stays(client)
    return render_form_page(request, page, crumbs=crumbs, proof=proof, **context)


def what_goes_and_stays(client: Client) -> dict[str, Any]:
    going = [
        counted(model, rows)
        for model, name in [(ContactPoint, "client"), *pointing_at(Client)]
        if (rows := model._base_manager.filter(**{name: client}).count())
    ]
    papers = [rows for rows in erasing.papers_of([client.pk]) if rows.exists()]
    going += [counted(rows.model, rows.count()) for rows in papers]
    return {
        "going": going,
        "decks": erasing.decks_that_stay(client),
        "jobs": Job.objects.filter(deck__site__client=client).count(),
        "photos": Photo.objects.filter(deck__site__client=client, shows_people=False).count(),
    }


@owner_required
@require_GET
def list_erasures(request: HttpRequest) -> HttpResponse:
    """The page `jobs:erasures`: who erased whom when, and how much; nobody is named."""
    rows = Erasure.objects.select_related("by")
    around = ListPage(
        "People erased",
        "Proof that it was done; nobody is named.",
        rows="jobs/_erasures.html",
        empty="Nobody was erased so far.",
        back=(reverse("settings:overview"), "Settings"),
    )
    return render_list_page(request, around, rows)
