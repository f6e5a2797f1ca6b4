"""What a mail service posts to us. No cookie, no sign-in:
a password in the address or a signature is the proof."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from clients.messaging import incoming
from clients.messaging.incoming import mail_service
from clients.messaging.views.hooks import HTTP_STATUS_OF, plain_response


@csrf_exempt
@login_not_required
@never_cache
@require_http_methods(
    ["HEAD", "POST"]
)  # by HEAD some ask, when the address is entered, whether anybody is there
def mail_reports(request: HttpRequest, service: str) -> HttpResponse:
    """A repetition is answered like the first: services post again what gets no 2xx."""
    if request.method == "HEAD":
        return plain_response("", 200)
    try:
        # Read before django-anymail does, so that one that is too long is refused here.
        request.body  # noqa: B018
        mail_service.receive_service_post(service=service, request=request)
    except RequestDataTooBig as error:
        incoming.log_refused_post(error, mail_service.SERVICE_REPORT_SOURCE)
        return plain_response("The report is too long.", 413)
    except tuple(HTTP_STATUS_OF) as error:
        return plain_response(str(error), HTTP_STATUS_OF[type(error)])
    return plain_response("Taken.", 200)


def receive_mail_event(event: Any, esp_name: str, **sent: Any) -> None:
    """Django-anymail's signal. What cannot be kept fails the post, and the service posts again."""
    incoming.receive_service_event(service=esp_name, event=event, now=timezone.now())
