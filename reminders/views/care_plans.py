"""The care plan of a property: what was agreed, its visits, and its end."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.models import Property
from clients.pages import FormPage, business_today, current_user, office_required, render_form_page
from reminders.care_plans import CarePlanError, end_care_plan, start_care_plan
from reminders.forms.care_plan import PLAN_WORDING, CarePlanForm
from reminders.models import CarePlan


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_care_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `clients:care_plan`: start one, look at it, end it."""
    site = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    plan = CarePlan.objects.running().filter(site=site).select_related("site__client").first()
    now = timezone.now()
    if request.method == "POST" and request.POST.get("decision") == "end":
        if plan and end_care_plan(plan=plan, ended_by=CarePlan.EndedBy.US, now=now):
            messages.success(request, "The care plan has ended. Nothing more is booked by itself.")
        return redirect("clients:care_plan", pk)
    today = business_today(request)
    shown = {"starts_on": today, "wording": PLAN_WORDING}
    form = CarePlanForm(request.POST or None, initial=shown)
    if request.method == "POST" and form.is_valid():
        try:
            start_care_plan(site=site, terms=form.terms, by=current_user(request), now=now)
            messages.success(request, "The care plan runs. Each visit is booked by itself.")
        except CarePlanError as error:
            messages.error(request, str(error))
        return redirect("clients:care_plan", pk)
    if plan:
        return render_running_plan(request, plan, today)
    return render_new_plan(request, site, form)


def plan_title(site: Property) -> str:
    return f"Care plan, {site.client}"


def plan_crumbs(site: Property) -> dict[str, Any]:
    return {"client": site.client, "leaf": "Care plan"}


def render_running_plan(request: HttpRequest, plan: CarePlan, today: date) -> HttpResponse:
    page = FormPage(
        plan_title(plan.site),
        plan.site.address,
        before="reminders/_care_plan.html",
        fields="reminders/_care_plan_end.html",
        button="End the care plan",
        is_danger=True,
    )
    context = {
        "plan": plan,
        "price": plan.price_on_day(today),
        "visits": plan.visits.select_related("booking"),
        "crumbs": plan_crumbs(plan.site),
    }
    return render_form_page(request, page, **context)


def render_new_plan(request: HttpRequest, site: Property, form: CarePlanForm) -> HttpResponse:
    page = FormPage(
        plan_title(site),
        site.address,
        button="Start the care plan",
        cancel=reverse("clients:detail", args=[site.client_id]),
        status=422 if form.errors else 200,
    )
    return render_form_page(request, page, form=form, crumbs=plan_crumbs(site))
