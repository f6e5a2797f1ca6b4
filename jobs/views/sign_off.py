"""The sign-off at the end of a job, on the phone that is handed to the client."""

from collections.abc import Sequence

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients import display
from clients.access import business_of, current_user
from clients.messaging.unsendable import Unsendable
from clients.models import User, traits_of
from jobs.actions import sign_off
from jobs.actions.sign_off import CareRecordError
from jobs.forms.sign_off import SignOffForm
from jobs.models import Job, SignOff
from jobs.views.jobs import job_or_404
from jobs.work import consent_requests, jobs_to_sign_off, latest_care_note, sign_off_statement


@require_http_methods(["GET", "HEAD", "POST"])
def job_sign_off(request: HttpRequest, pk: int) -> HttpResponse:
    job = job_or_404(pk)
    if SignOff.objects.filter(job=job).exists():
        messages.info(request, "This job was signed off already.")
        return redirect("jobs:detail", job.pk)
    # What is sent was read in the language that it says, whatever the client's is by now.
    chosen = (
        request.POST.get("language") or request.GET.get("language") or job.deck.site.client.language
    )
    with display.in_client_language(chosen):
        return sign_off_page(request, job)


def sign_off_page(request: HttpRequest, job: Job) -> HttpResponse:
    """The words in the language in force, and those very words kept."""
    client = job.deck.site.client
    jobs = jobs_to_sign_off(job)
    wording = sign_off_statement(jobs)
    asks = consent_requests(client, business_of(request))
    form = SignOffForm(
        request.POST or None,
        asks=asks,
        has_email=any(traits_of(ask.channel).is_by_mailbox for ask in asks),
    )
    if request.method == "POST" and form.is_valid():
        try:
            save_sign_off(form, jobs, wording, current_user(request))
        except (CareRecordError, Unsendable) as error:
            form.add_error("wants_record", str(error))
        else:
            messages.success(request, "Signed off. Thank you.")
            return redirect("jobs:detail", job.pk)
    context = {
        "job": job,
        "jobs": jobs,
        "form": form,
        "wording": wording,
        "care": latest_care_note(jobs),
        "navigation": [],
        "languages": settings.LANGUAGES,
    }
    return render(request, "jobs/sign_off.html", context)


def save_sign_off(form: SignOffForm, jobs: Sequence[Job], wording: str, by: User) -> None:
    with display.in_staff_language():
        signature = sign_off.Signature(
            name=form.cleaned_data["name"],
            wording=wording,
            agreed=form.agreed,
            wants_record=form.cleaned_data.get("wants_record", False),
        )
        sign_off.sign_off_jobs(jobs=jobs, signature=signature, by=by, now=timezone.now())
