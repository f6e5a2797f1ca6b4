"""Photographs and documents that belong to a deck or a product and to no job."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.models import Deck
from clients.pages import FormPage, business_today, current_user, render_form_page
from jobs import actions
from jobs.forms.photo import DeckFilesForm, ProductDocumentsForm
from jobs.models import Document, Photo, Product
from jobs.views.photos import added_words
from jobs.work import with_grade_marks

FORM = FormPage(
    "Photos and documents",
    after="jobs/_files_kept.html",
    button="Add",
    busy="Adding…",
    has_files=True,
    is_checked_by_browser=False,
)
SANDBOX = "default-src 'none'; sandbox"  # W3C Content Security Policy Level 3, 6.3.2


@require_http_methods(["GET", "HEAD", "POST"])
def deck_files(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:deck_files`."""
    deck = get_object_or_404(Deck.objects.with_owner(), pk=pk)
    form = DeckFilesForm(request.POST or None, request.FILES or None, today=business_today(request))

    def keep(new: actions.FilesInput) -> Sequence[Photo | Document]:
        return actions.keep_with_deck(deck=deck, new=new, now=timezone.now())

    if answer := keep_files(request, form, keep):
        return answer
    client = deck.site.client
    crumbs = {"client": client, "home": deck.site, "deck": deck, "leaf": FORM.title}
    around = replace(
        FORM,
        lead=f"Kept with {deck.label} and no job. Clients see photos on their page, and no"
        " documents.",
        cancel=reverse("decks:detail", args=[pk]),
    )
    return render_form_page(
        request,
        around,
        form=form,
        crumbs=crumbs,
        documents=deck.documents.all(),
        photos=with_grade_marks(deck.photos.filter(job=None)),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def product_files(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:product_files`."""
    product = get_object_or_404(Product, pk=pk)
    form = ProductDocumentsForm(request.POST or None, request.FILES or None)

    def keep(new: actions.FilesInput) -> Sequence[Document]:
        return actions.keep_with_product(product=product, new=new, now=timezone.now())

    if answer := keep_files(request, form, keep):
        return answer
    shelf = reverse("jobs:shelf", args=[pk])
    around = replace(
        FORM,
        title="Documents",
        lead="Data sheets and the like; clients do not see them.",
        back=(shelf, str(product)),
        cancel=shelf,
    )
    return render_form_page(request, around, form=form, documents=product.documents.all())


def keep_files(
    request: HttpRequest,
    form: Any,
    keep: Callable[[actions.FilesInput], Sequence[Photo | Document]],
) -> HttpResponse | None:
    """Keep what a valid form holds and show the page again."""
    if request.method != "POST" or not form.is_valid():
        return None
    new = actions.FilesInput(**form.cleaned_data)
    made = keep(new)
    messages.success(request, added_words("file", len(made), len(new.uploads)))
    return redirect(request.path)


@require_GET
def show_document(request: HttpRequest, pk: int) -> HttpResponseBase:
    """To download, never to open within our pages: nobody knows what is in it."""
    row = get_object_or_404(Document, pk=pk)
    try:
        file = row.file.open("rb")
    except OSError as error:
        raise Http404("The file of this document is missing. Restore it from the backup.") from (
            error
        )
    answer = FileResponse(
        file, as_attachment=True, filename=row.download_name, content_type=row.media_type
    )
    answer["Content-Security-Policy"] = SANDBOX
    return answer


@require_POST
def document_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Give it another name, or remove it (the owner and the office only)."""
    row = get_object_or_404(Document, pk=pk)
    if "remove" in request.POST:
        if not current_user(request).may_send:
            raise PermissionDenied("Only the owner and the office may remove a document.")
        actions.remove_document(document=row)
        messages.success(request, f"{row.title} was removed.")
    else:
        actions.rename_document(document=row, title=request.POST.get("title", "")[:200])
        messages.success(request, "The document was renamed.")
    if row.deck_id:
        return redirect("jobs:deck_files", row.deck_id)
    return redirect("jobs:product_files", row.product_id)
