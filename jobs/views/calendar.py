"""The calendar feed of a crew, by a link that can be taken back."""

import hashlib

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.views.decorators.http import require_safe

from clients.pages import business_of
from jobs.diary import icalendar_files
from jobs.models import Crew
from jobs.offers import links


@login_not_required
@require_safe
def crew_calendar(request: HttpRequest, token: str) -> HttpResponse:
    """Whoever has the link reads the crew's bookings;
    304 while nothing has changed (RFC 9110, 13.1.2)."""
    crew = Crew.objects.filter(feed_hash=links.token_hash(token)).first()
    if crew is None:
        raise Http404("There is no such calendar.")
    business = business_of(request)
    rows = icalendar_files.crew_feed_bookings(crew, today=business.today(timezone.now()))
    content = icalendar_files.crew_feed_file(crew, rows, business, url=request.build_absolute_uri())
    etag = quote_etag(hashlib.sha256(content).hexdigest()[:32])
    response = HttpResponse(
        content, content_type="text/calendar; charset=utf-8", headers={"ETag": etag}
    )
    response["Content-Disposition"] = 'inline; filename="diary.ics"'
    response["Cache-Control"] = "private, no-cache"
    response["X-Robots-Tag"] = "noindex"
    found = get_conditional_response(request, etag=etag, response=response)
    assert found is not None  # noqa: S101 - a response was given
    return found
