"""What the client presses about their care plan: not this week, the end of it, and that taken
back."""

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from clients.models import Business
from reminders.care_plans import (
    CarePlanError,
    end_care_plan,
    refuse_plan_visit,
    resume_care_plan,
)
from reminders.client_page.answers import ClientPageError
from reminders.client_page.page import ClientPage, build_client_page
from reminders.models import CarePlan, ClientLink


def page_of_link(link: ClientLink, now: datetime) -> ClientPage:
    business = Business.objects.get()
    return build_client_page(link, business, today=business.today(now))


def say_no_to_visit(*, link: ClientLink, now: datetime) -> bool:
    """Another week is looked for. Raises `ClientPageError` once the last day to say no is over."""
    visit = page_of_link(link, now).plan_visit
    if visit is None:
        return False
    try:
        return refuse_plan_visit(visit=visit, now=now)
    except CarePlanError as error:
        raise ClientPageError(
            _("The last day to say no to this visit is over. Please phone us.")
        ) from error


def end_plan_by_client(*, link: ClientLink, now: datetime) -> bool:
    plan = page_of_link(link, now).plan
    if plan is None:
        return False
    return end_care_plan(plan=plan, ended_by=CarePlan.EndedBy.CLIENT, now=now)


def take_back_plan_end(*, link: ClientLink, now: datetime) -> bool:
    plan = page_of_link(link, now).plan
    return plan is not None and resume_care_plan(plan=plan, now=now)
