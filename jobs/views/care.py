"""The care record of a job: to print or hand over as PDF, or sent to the client by e-mail."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clients.messaging.unsendable import Unsendable
from clients.pages import current_user, office_required
from jobs.actions import sign_off
from jobs.actions.sign_off import CareRecordError
from jobs.models import Job
from jobs.pdf import care_record_pdf, pdf_response
from jobs.work import build_care_record, get_job_for_record


def job_for_record_or_404(pk: int) -> Job:
    if (job := get_job_for_record(pk)) is None:
        raise Http404("There is no such job.")
    return job


@require_safe
def show_care_record(request: HttpRequest, pk: int) -> HttpResponse:
    record = build_care_record(job_for_record_or_404(pk))
    return pdf_response(care_record_pdf(record), record.file_name)


@office_required
@require_POST
def care_record_send(request: HttpRequest, pk: int) -> HttpResponse:
    try:
        message, is_new = sign_off.send_care_record(
            job=job_for_record_or_404(pk), by=current_user(request), now=timezone.now()
        )
    except (CareRecordError, Unsendable) as error:
        messages.error(request, f"The care record was not sent. {error}")
    else:
        said = "is queued to" if is_new else "was queued before, to"
        messages.success(request, f"The care record {said} {message.address}.")
    return redirect("jobs:detail", pk)
