"""One job: its page, its correction, its removal."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.pages import (
    FormPage,
    business_of,
    business_today,
    current_user,
    owner_required,
    render_form_page,
    with_camera,
)
from clients.views.editing import RecordEdit, edit_record
from jobs import actions
from jobs.actions.jobs import JobError
from jobs.diary import hours_planned_for_job, litres_planned_for_job
from jobs.forms import log as forms
from jobs.forms.job import JobRemovalForm
from jobs.forms.photo import PhotosForm
from jobs.models import CoatApplied, Defect, GradeExample, Job, WorkedHours
from jobs.offers import jobs_with_money, money_of_job
from jobs.views.shelf import tins_after
from jobs.work import (
    care_note,
    coat_build_before_and_after,
    drawn_image_url,
    job_cautions,
    measured_spreads,
    plausibility_warnings,
    with_grade_marks,
)


def jobs_with_all() -> QuerySet[Job]:
    jobs = Job.objects.select_related("deck__site__client", "visit", "recorded_by", "sign_off")
    return jobs.with_coats().prefetch_related("photos", WorkedHours.of_jobs())


def job_or_404(pk: int) -> Job:
    return get_object_or_404(jobs_with_all(), pk=pk)


@require_GET
def show_job(request: HttpRequest, pk: int) -> HttpResponse:
    job = job_or_404(pk)
    now = timezone.now()
    business = business_of(request)
    tins = tins_after(job, units=business.units, today=business.today(now))
    context = {"job": job, "photos_form": PhotosForm(), "tins": tins, **job_page_context(job, now)}
    return render(request, "jobs/detail.html", context)


def job_page_context(job: Job, now: datetime) -> dict[str, Any]:
    """What the page says beside the bare facts."""
    coats = job.coats_applied.all()
    before = (
        Job.objects.before(job).coating().with_coats().select_related("deck").newest_first().first()
    )
    build_before, build = coat_build_before_and_after(job)
    care = care_note(job)
    defects = Defect.objects.open_by_deck([job.deck_id]).get(job.deck_id, [])
    return {
        "doubts": plausibility_warnings(job, before=before, build_before=build_before, build=build),
        "defects": defects,
        "money": money_of_job(jobs_with_money().get(pk=job.pk)),
        "build": build,
        "care": care if care and care.furniture_at > now else None,
        "cautions": job_cautions(
            job.deck, job.kind, [coat.product for coat in coats if coat.product], defects
        ),
        "spreads": measured_spreads(job.deck, coats),
        "drawn_url": drawn_image_url(job.sign_off.drawn) if hasattr(job, "sign_off") else "",
        "photos": with_grade_marks(job.photos.all()),
        "coats": with_planned_litres(job),
        "hours": sum((row.hours for row in job.hours_worked.all()), Decimal(0)),
        "hours_planned": hours_planned_for_job(job),
    }


def with_planned_litres(job: Job) -> list[tuple[CoatApplied, Decimal | None]]:
    """Each product of a job; with what was planned, once a product, as long as nobody measured."""
    coats = list(job.coats_applied.all())
    measured = {coat.product_id for coat in coats if coat.litres is not None}
    open_products = {coat.product_id for coat in coats if coat.product_id} - measured
    all_planned = litres_planned_for_job(job) if open_products else {}
    planned = {pk: litres for pk, litres in all_planned.items() if pk in open_products}
    return [(coat, planned.pop(coat.product_id or 0, None)) for coat in coats]


@with_camera
@require_http_methods(["GET", "HEAD", "POST"])
def edit_job(request: HttpRequest, pk: int) -> HttpResponse:
    today = business_today(request)

    def build(job: Job, data: QueryDict | None) -> forms.LogForms:
        if data is None:
            return forms.log_forms_of_job(request, job, today)
        if "add_product" in data:
            return forms.log_forms_with_row(request, job.deck, today, job)
        return forms.bound_log_forms(request, job.deck, today, job)

    def show(job: Job, page: forms.LogForms, opened: dict[str, str]) -> HttpResponse:
        return render_job_edit(request, job, page, **opened)

    edit = RecordEdit(
        jobs_with_all(),
        build,
        lambda job, page: submit_job_change(request, job, page),
        show,
        back=lambda job: reverse("jobs:detail", args=[job.pk]),
        is_unchecked=lambda: "add_product" in request.POST,
    )
    return edit_record(request, pk, edit)


def render_job_edit(
    request: HttpRequest, job: Job, page: forms.LogForms, **opened: str
) -> HttpResponse:
    page.job.show_examples(GradeExample.objects.by_kind())
    around = FormPage(
        "Change a job",
        f"{job.get_kind_display()}, {job.day_words}",
        fields="jobs/_job_fields.html",
        cancel=reverse("jobs:detail", args=[job.pk]),
        is_checked_by_browser=False,
    )
    home = job.deck.site
    context = {
        "page": page,
        "forms": page.single_forms,
        "formsets": page.formsets,
        "has_errors": page.has_errors,
        "row_word": "Product",
        "photos": page.photos_kept,
        "crumbs": {"client": home.client, "home": home, "deck": job.deck, "leaf": "Change"},
    }
    return render_form_page(request, around, **context, **opened)


def submit_job_change(request: HttpRequest, job: Job, page: forms.LogForms) -> HttpResponse | None:
    try:
        actions.change_job(
            job=job, work=page.work_done(), by=current_user(request), now=timezone.now()
        )
    except JobError as error:
        forms.add_action_error(page.job, error.field, str(error))
        return None
    messages.success(request, "The job was changed.")
    return redirect("jobs:detail", job.pk)


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def job_remove(request: HttpRequest, pk: int) -> HttpResponse:
    job = job_or_404(pk)
    form = JobRemovalForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        deck = job.deck
        actions.remove_job(
            job=job,
            reason=form.cleaned_data["reason"],
            by=current_user(request),
            now=timezone.now(),
        )
        messages.success(request, f"The job on {deck} was removed. The audit trail keeps it.")
        return redirect("decks:detail", deck.pk)
    page = FormPage(
        "Remove a job",
        f"{job.get_kind_display()} on {job.deck}, {job.day_words}",
        fields="jobs/_removal_fields.html",
        button="Remove this job",
        cancel=reverse("jobs:detail", args=[job.pk]),
        is_danger=True,
        is_checked_by_browser=False,
    )
    home = job.deck.site
    crumbs = {"client": home.client, "home": home, "deck": job.deck, "leaf": "Remove"}
    return render_form_page(request, page, form=form, job=job, crumbs=crumbs)
