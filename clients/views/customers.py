"""Customers whose consent the law works out from the book, confirmed for many at once."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.actions.clients import confirm_customers
from clients.messaging.customers import chosen_customers, likely_customers
from clients.models import is_primary_key
from clients.pages import business_of, current_user, office_required


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def show_customers(request: HttpRequest) -> HttpResponse:
    """The page `clients:customers`: who is one, since when, until when and by which rule."""
    business = business_of(request)
    now = timezone.now()
    today = business.today(now)
    if request.method != "POST":
        after = request.GET.get("after", "")
        found = likely_customers(
            business=business, today=today, after=int(after) if is_primary_key(after) else 0
        )
        rules = {each.rule.code: each.rule for each in found.rows}
        context = {"found": found, "rules": rules.values()}
        return render(request, "clients/customers.html", context)
    chosen = chosen_customers(set(request.POST.getlist("customer")), business=business, today=today)
    kept = confirm_customers(customers=chosen, by=current_user(request), now=now)
    if kept:
        noun = "consent" if len(kept) == 1 else "consents"
        messages.success(request, f"{len(kept)} {noun} kept. They may be written to.")
    else:
        messages.warning(request, "Nobody was ticked, so nothing was kept.")
    return redirect("clients:customers")
