"""The care plan of a property: what was agreed, its visits, and its end."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.access import business_today, current_user, office_required
from clients.models import Property
from reminders.care_plans import CarePlanError, end_care_plan, start_care_plan
from reminders.forms.care_plan import PLAN_WORDING, CarePlanForm
from reminders.models import CarePlan


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_care_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `clients:care_plan`: start one, look at it, end it."""
    site = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    plan = CarePlan.objects.running().filter(site=site).first()
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
    context = {
        "site": site,
        "plan": plan,
        "price": plan and plan.price_on_day(today),
        "visits": plan.visits.select_related("booking") if plan else [],
        "form": form,
    }
    status = 422 if form.errors else 200
    return render(request, "reminders/care_plan.html", context, status=status)
