"""The page on the sending domain: what DNS holds, what it should hold."""

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from clients.messaging.forms.sending_domain import SelectorsForm
from clients.messaging.sending_domain import Finding, check_domain, query_dns
from clients.models import Business
from clients.pages import business_of, owner_required

CACHE_SECONDS = 300
dns_query = query_dns  # tests put their own in its place: the suite may not reach the network


@owner_required
@require_http_methods(["GET", "POST"])
def show_domain(request: HttpRequest) -> HttpResponse:
    """GET looks (and keeps what it saw for five minutes), POST keeps the names of keys and looks
    again."""
    business = business_of(request)
    form = SelectorsForm(request.POST or None, instance=Business.objects.get(pk=business.pk))
    if form.is_valid():
        form.save()
        cache.delete(findings_cache_key(business))
        return redirect("speech:domain")
    context = {
        "form": form,
        "domain": address_domain(business.sender),
        "findings": domain_findings(business),
    }
    return render(request, "settings/domain.html", context)


def address_domain(address: str) -> str:
    return address.rpartition("@")[2].lower()


def findings_cache_key(business: Business) -> str:
    return f"sending-domain:{business.sender}:{business.bounce_email}"


def domain_findings(business: Business) -> list[Finding]:
    """What DNS says now, or said in the last five minutes; nothing while there is no sender."""
    if not business.sender:
        return []
    known: list[Finding] | None = cache.get(findings_cache_key(business))
    if known is None:
        selectors = [name.strip() for name in business.dkim_selectors.split(",") if name.strip()]
        bounce = address_domain(business.bounce_email or business.sender)
        known = check_domain(
            address_domain(business.sender), selectors=selectors, bounce=bounce, ask=dns_query
        )
        cache.set(findings_cache_key(business), known, CACHE_SECONDS)
    return known
