"""The sign-off at the end of a job, on the phone that is handed to the client."""

import uuid
from collections.abc import Sequence

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients import display
from clients.actions.receiving import receive_once, typed_form_key, was_received
from clients.messaging.unsendable import Unsendable
from clients.models import traits_of
from clients.pages import (
    FormPage,
    business_of,
    current_user,
    hand_over,
    render_form_page,
    take_back,
)
from jobs.actions import sign_off
from jobs.actions.sign_off import CareRecordError
from jobs.forms.sign_off import NoPhotosForm, SignOffForm
from jobs.models import Job, SignOff
from jobs.views.jobs import job_or_404
from jobs.work import (
    consent_requests,
    drawn_image_url,
    jobs_to_sign_off,
    latest_care_note,
    missing_photo_words,
    sign_off_statement,
    waits_for_photos,
)


@require_http_methods(["GET", "HEAD", "POST"])
def job_sign_off(request: HttpRequest, pk: int) -> HttpResponse:
    job = job_or_404(pk)
    if "take_back" in request.POST:
        take_back(request)
        return redirect("jobs:detail", job.pk)
    signed = SignOff.objects.filter(job=job).first()
    if signed and request.method == "POST":
        messages.info(request, already_signed_words(request, signed))
        return redirect("jobs:sign_off", job.pk)
    # What is sent was read in the language that it says, whatever the client's is by now.
    chosen = (
        request.POST.get("language") or request.GET.get("language") or job.deck.site.client.language
    )
    if asks_for_photos(request, job, signed):
        return photos_first_page(request, job)
    hand_over(request)
    with display.in_client_language(chosen):
        return signed_page(request, job, signed) if signed else sign_off_page(request, job)


def asks_for_photos(request: HttpRequest, job: Job, signed: SignOff | None) -> bool:
    """Whether the sign-off waits for photos; a name that was signed is never turned away."""
    is_due = signed is None and (request.method != "POST" or "because" in request.POST)
    needed = business_of(request).sign_off_needs_photos
    return is_due and needed and any(map(waits_for_photos, jobs_to_sign_off(job)))


def photos_first_page(request: HttpRequest, job: Job) -> HttpResponse:
    """Still in the staff's hands: what is missing, and the way round it."""
    jobs = jobs_to_sign_off(job)
    form = NoPhotosForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        sign_off.do_without_photos(jobs=jobs, because=form.cleaned_data["because"])
        return redirect("jobs:sign_off", job.pk)
    lacking = [(each.deck.label, words) for each in jobs if (words := missing_photo_words(each))]
    lead = " ".join(f"{deck}: {words}" if len(jobs) > 1 else words for deck, words in lacking)
    page = FormPage(
        "Photos first",
        f"{lead} Photos still on this phone count once they are sent.",
        button="Sign off without them",
        is_danger=True,
        cancel=f"{reverse('jobs:detail', args=[job.pk])}#photos-heading",
        cancel_words="Add photos",
    )
    home = job.deck.site
    crumbs = {"client": home.client, "home": home, "deck": job.deck, "leaf": "Sign-off"}
    return render_form_page(request, page, form=form, crumbs=crumbs)


def already_signed_words(request: HttpRequest, signed: SignOff) -> str:
    """That nothing was added; by whom, if somebody else's form came first."""
    key = typed_form_key(request.POST)
    if key is None or was_received(key):
        return "This job was signed off already."
    return f"This job was signed off already by {signed.name}. Nothing was added."


def signed_page(request: HttpRequest, job: Job, signed: SignOff) -> HttpResponse:
    """What the client still holds in their hand: thanks, and nothing of the staff's."""
    context = {
        "job": job,
        "jobs": jobs_to_sign_off(job),
        "signed": signed,
        "drawn_url": drawn_image_url(signed.drawn),
        "care": latest_care_note([job]),
        "navigation": [],
        "languages": settings.LANGUAGES,
    }
    return render(request, "jobs/sign_off.html", context)


def sign_off_page(request: HttpRequest, job: Job) -> HttpResponse:
    """The words in the language in force, and those very words kept."""
    client = job.deck.site.client
    jobs = jobs_to_sign_off(job)
    wording = sign_off_statement(jobs)
    asks = consent_requests(client, business_of(request))
    form = SignOffForm(
        request.POST or None,
        asks=asks,
        wording=wording,
        has_email=any(traits_of(ask.channel).is_by_mailbox for ask in asks),
    )
    if request.method == "POST" and form.is_valid():
        try:
            save_sign_off(request, form, jobs, wording)
        except (CareRecordError, Unsendable) as error:
            form.add_error("wants_record", str(error))
        else:
            return redirect("jobs:sign_off", job.pk)
    context = {
        "job": job,
        "jobs": jobs,
        "form": form,
        "wording": wording,
        "form_key": typed_form_key(request.POST) or uuid.uuid4(),
        "care": latest_care_note(jobs),
        "navigation": [],
        "languages": settings.LANGUAGES,
    }
    return render(request, "jobs/sign_off.html", context)


def save_sign_off(
    request: HttpRequest, form: SignOffForm, jobs: Sequence[Job], wording: str
) -> None:
    by = current_user(request)
    now = timezone.now()

    def write() -> str:
        signature = sign_off.Signature(
            name=form.cleaned_data["name"],
            wording=wording,
            agreed=form.agreed,
            wants_record=form.cleaned_data.get("wants_record", False),
            drawn=form.cleaned_data["drawn"],
        )
        sign_off.sign_off_jobs(jobs=jobs, signature=signature, by=by, now=now)
        return reverse("jobs:sign_off", args=[jobs[0].pk])

    with display.in_staff_language():
        receive_once(form_key=typed_form_key(request.POST), by=by, now=now, write=write)
