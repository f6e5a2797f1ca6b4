"""The privacy notice of the business, for everybody: its own words, or what the book keeps."""

from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from clients import display
from clients.messaging.models import TextGateway
from clients.models import Business
from clients.pages import FormPage, render_form_page


@login_not_required
@require_safe
def show_privacy_notice(request: HttpRequest) -> HttpResponse:
    """`?language=` of the two letters of one; else that of the business. No cookie, nothing
    counted."""
    business = Business.current()
    if business is None:
        raise Http404("There is no book yet.")
    with display.in_client_language(request.GET.get("language", "")[:12]):
        context: dict[str, Any] = {
            "business": business,
            "has_texts": TextGateway.current() is not None,
            "languages": [each for each in settings.LANGUAGES if each[0] != get_language()],
            "navigation": [],
        }
        page = FormPage(_("Privacy"), before="clients/_privacy.html", has_form=False)
        return render_form_page(request, page, **context)
