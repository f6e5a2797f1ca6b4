"""Photographs: shown to people who are signed in, added to a job, described, removed."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.views.decorators.http import require_GET, require_POST

from clients.actions.receiving import typed_form_key
from clients.actions.upload_parts import whole_upload
from clients.pages import current_user, is_kept_form
from jobs import actions, photos
from jobs.forms.photo import PhotosForm
from jobs.models import Job, Photo
from jobs.views.jobs import job_or_404, job_page_context

OFFICE_ONLY = {"remove", "example", "no_example"}
YEAR_SECONDS = 365 * 24 * 3600  # a stored picture never changes


@require_GET
def show_photo(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The picture itself; `?small` gives a copy for lists, `?tiny` one for a choice."""
    row = get_object_or_404(Photo, pk=pk)
    size = next((each for each in photos.THUMBNAILS if each in request.GET), "")
    name = row.image.name or ""
    try:
        answer: HttpResponseBase = (
            HttpResponse(photos.stored_thumbnail(name, size), content_type="image/jpeg")
            if size
            else FileResponse(row.image.open("rb"), content_type="image/jpeg")
        )
    except OSError as error:
        raise Http404("The file of this photo is missing. Restore it from the backup.") from error
    answer["Cache-Control"] = f"private, max-age={YEAR_SECONDS}, immutable"
    return answer


@require_POST
def photos_add(request: HttpRequest, pk: int) -> HttpResponse:
    return add_photos_to(request, job_or_404(pk))


@require_POST
def form_photo(request: HttpRequest) -> HttpResponse:
    """A photograph that follows the form of its job (`form_key`), which was sent before."""
    job = get_object_or_404(Job, form_key=typed_form_key(request.POST))
    return add_photos_to(request, job_or_404(job.pk))


def sent_photos(request: HttpRequest) -> MultiValueDict[str, Any]:
    """The files of a form, and the photograph that came in parts before it (`in_parts`: its
    SHA-256). Raises `UnfinishedFormError`."""
    files = request.FILES.copy()
    if sha256 := request.POST.get("in_parts", ""):
        body = whole_upload(by=current_user(request), sha256=sha256)
        files.appendlist("photos", SimpleUploadedFile("in-parts.jpg", body, "image/jpeg"))
    return files


def add_photos_to(request: HttpRequest, job: Job) -> HttpResponse:
    form = PhotosForm(request.POST, sent_photos(request))
    if not form.is_valid():
        context = {"job": job, "photos_form": form, **job_page_context(job, timezone.now())}
        return render(request, "jobs/detail.html", context)
    values = form.cleaned_data
    made = actions.add_photos(
        job=job,
        files=values["photos"],
        moment=values["moment"],
        caption=values["caption"],
        now=timezone.now(),
    )
    if not is_kept_form(request):
        messages.success(request, added_words("photo", len(made), len(values["photos"])))
    return redirect("jobs:detail", job.pk)


def added_words(what: str, made: int, sent: int) -> str:
    """“2 photos added. 1 was here already.”"""
    words = f"{made} {what}{'s' if made != 1 else ''} added."
    there = sent - made
    return f"{words} {there} {'were' if there != 1 else 'was'} here already." if there else words


@require_POST
def photo_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Describe a photograph; the owner and the office also remove it, or say which grade it is an
    example of."""
    row = get_object_or_404(Photo.objects.select_related("job__visit"), pk=pk)
    if not current_user(request).may_send and OFFICE_ONLY & set(request.POST):
        raise PermissionDenied("Only the owner and the office may do this with a photo.")
    if "remove" in request.POST:
        actions.remove_photo(photo=row)
        messages.success(request, "The photo was removed.")
    elif "example" in request.POST:
        make_example(request, row, request.POST["example"])
    elif "no_example" in request.POST:
        actions.remove_grade_example(photo=row, kind=request.POST["no_example"])
        messages.success(request, "The photo is no longer the example of that grade.")
    else:
        actions.describe_photo(
            photo=row,
            caption=request.POST.get("caption", "")[:200],
            shows_people="shows_people" in request.POST,
        )
        messages.success(request, "The photo was described.")
    if row.job_id:
        return redirect("jobs:detail", row.job_id)
    return redirect("jobs:deck_files", row.deck_id)


def make_example(request: HttpRequest, photo: Photo, kind: str) -> None:
    try:
        example = actions.set_grade_example(photo=photo, kind=kind)
    except actions.GradeExampleError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request, f"{example}: whoever grades a deck now sees this photo beside the grade."
        )
