"""The sign-off at the end of a job, on the phone that is handed to the client."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.access import business_of, signed_in
from clients.models import Channel
from clients.outbox.permission import address_for
from clients.unsendable import Unsendable
from jobs.actions import signing
from jobs.actions.signing import CareRecordError
from jobs.forms.sign_off import SignOffForm
from jobs.models import SignOff
from jobs.sign_off import asks, jobs_to_sign, latest_care, statement
from jobs.views.jobs import job_or_404


@require_http_methods(["GET", "HEAD", "POST"])
def sign_off(request: HttpRequest, pk: int) -> HttpResponse:
    job = job_or_404(pk)
    if SignOff.objects.filter(job=job).exists():
        messages.info(request, "This job was signed off already.")
        return redirect("jobs:detail", job.pk)
    client, jobs = job.deck.property.client, jobs_to_sign(job)
    wording = statement(jobs)
    has_email = bool(address_for(client, Channel.EMAIL))
    form = SignOffForm(request.POST or None, asks=asks(client, business_of(request)), has_email=has_email)
    if request.method == "POST" and form.is_valid():
        try:
            signing.sign_off(
                jobs=jobs, name=form.cleaned_data["name"], wording=wording, agreed=form.agreed,
                wants_record=form.cleaned_data.get("wants_record", False), by=signed_in(request), now=timezone.now(),
            )  # fmt: skip
        except (CareRecordError, Unsendable) as error:
            form.add_error("wants_record", str(error))
        else:
            messages.success(request, "Signed off. Thank you.")
            return redirect("jobs:detail", job.pk)
    context = {"job": job, "jobs": jobs, "form": form, "wording": wording, "care": latest_care(jobs), "navigation": []}
    return render(request, "jobs/sign_off.html", context)
