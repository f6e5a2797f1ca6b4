"""The page on the sending domain: what DNS holds, what it should hold."""

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from clients.access import business_of, manages
from clients.messaging.forms.sending_domain import SelectorsForm
from clients.messaging.sending_domain import Finding, ask_dns, check_domain
from clients.models import Business

KEPT_SECONDS = 300
ask = ask_dns  # tests put their own in its place: the suite may not reach the network


@manages
@require_http_methods(["GET", "POST"])
def domain(request: HttpRequest) -> HttpResponse:
    """GET looks (and keeps what it saw for five minutes), POST keeps the names of keys and looks anew."""
    business = business_of(request)
    form = SelectorsForm(request.POST or None, instance=Business.objects.get(pk=business.pk))
    if form.is_valid():
        form.save()
        cache.delete(key_of(business))
        return redirect("speech:domain")
    context = {"form": form, "domain": domain_of(business.sender), "findings": findings(business)}
    return render(request, "settings/domain.html", context)


def domain_of(address: str) -> str:
    return address.rpartition("@")[2].lower()


def key_of(business: Business) -> str:
    return f"sending-domain:{business.sender}:{business.bounce_email}"


def findings(business: Business) -> list[Finding]:
    """What DNS says now, or said in the last five minutes; nothing while there is no sender."""
    if not business.sender:
        return []
    known = cache.get(key_of(business))
    if known is None:
        selectors = [name.strip() for name in business.dkim_selectors.split(",") if name.strip()]
        bounce = domain_of(business.bounce_email or business.sender)
        known = check_domain(domain_of(business.sender), selectors=selectors, bounce=bounce, ask=ask)
        cache.set(key_of(business), known, KEPT_SECONDS)
    return known
