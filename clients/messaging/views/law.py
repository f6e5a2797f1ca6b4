"""The law page: which rules apply to whom, what was applied, and the owner's own rules over the
table."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.messaging import law_page
from clients.messaging.actions import texts as actions
from clients.messaging.forms.texts import LawRuleForm
from clients.messaging.law import LegalRules, RuleSummary
from clients.messaging.models import LawRule
from clients.models import Channel
from clients.pages import (
    FormPage,
    business_of,
    business_today,
    current_user,
    owner_required,
    render_form_page,
)


@require_GET
@owner_required
def show_law(request: HttpRequest) -> HttpResponse:
    business = business_of(request)
    rules = LegalRules.load()
    on = business_today(request)
    lacking = law_page.lacking_consents(business, today=on)
    context = {
        "places": law_page.rules_by_country(rules, business, on=on),
        "applied": law_page.applied_rules(),
        "table": law_page.rules_by_jurisdiction(),
        "contracts": law_page.contract_rules(),
        "regional_hours": law_page.regional_hours(),
        "lacking": lacking[: law_page.MAX_LACKING_SHOWN],
        "lacking_more": max(0, len(lacking) - law_page.MAX_LACKING_SHOWN),
        "own": LawRule.objects.all(),
        "table_of": law_page.law_table_date(),
    }
    return render(request, "settings/law.html", context)


@require_http_methods(["GET", "POST"])
@owner_required
def law_rule(request: HttpRequest, jurisdiction: str, medium: str) -> HttpResponse:
    """The owner's own rule of one country, from a day on;
    it begins as what is in force there now."""
    if medium not in Channel.values or not law_page.is_jurisdiction(jurisdiction):
        raise Http404("There is no such rule.")
    today = business_today(request)
    rule = LegalRules.load().rule_of(jurisdiction, medium, today)
    form = LawRuleForm(request.POST or None, medium=medium, today=today, rule=rule)
    if form.is_valid():
        own = actions.LawRuleInput(
            jurisdiction=jurisdiction,
            medium=medium,
            valid_from=form.cleaned_data["valid_from"],
            rules=form.rules,
            source=form.cleaned_data["source"],
            checked_on=form.cleaned_data["checked_on"],
        )
        actions.save_law_rule(rule=own, by=current_user(request), now=timezone.now())
        messages.success(
            request, "Saved. Messages already in the outbox keep the rule they were queued under."
        )
        return redirect("speech:law")
    law_table = reverse("speech:law")
    place = law_page.jurisdiction_name(jurisdiction)
    page = FormPage(
        f"Our own rule: {place}, {Channel(medium).label.lower()}",
        "It counts from the day you say, for messages written then. What is in the outbox keeps the"
        " rule it was written under.",
        back=(law_table, "Law"),
        fields="settings/_law_rule_fields.html",
        cancel=law_table,
    )
    return render_form_page(request, page, form=form, shown=RuleSummary(rule))


@require_POST
@owner_required
def law_drop(request: HttpRequest, pk: int) -> HttpResponse:
    actions.delete_law_rule(row=get_object_or_404(LawRule, pk=pk))
    messages.success(request, "Our own rule is gone; the table counts again.")
    return redirect("speech:law")
