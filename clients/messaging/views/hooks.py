"""What gateways post to us. No cookie, no sign-in:
the secret in the address and the signature are the proof."""

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from clients.messaging import incoming

HTTP_STATUS_OF: dict[type[Exception], int] = {
    incoming.UnknownHookError: 404,
    incoming.ForgedError: 403,
    incoming.BadReportError: 400,
    RequestDataTooBig: 413,
}


@csrf_exempt
@login_not_required
@never_cache
@require_POST
def text_status(request: HttpRequest, secret: str) -> HttpResponse:
    return receive_post(request, incoming.STATUS_SOURCE, secret)


@csrf_exempt
@login_not_required
@never_cache
@require_POST
def text_inbound(request: HttpRequest, secret: str) -> HttpResponse:
    return receive_post(request, incoming.ANSWER_SOURCE, secret)


def receive_post(request: HttpRequest, source: str, secret: str) -> HttpResponse:
    """A repetition is answered like the first: gateways post again what gets no 2xx."""
    try:
        words = incoming.receive_gateway_post(
            source=source,
            secret=secret,
            content=request.body,
            headers=request.headers,
            now=timezone.now(),
        )
    except tuple(HTTP_STATUS_OF) as error:
        return plain_response(str(error), HTTP_STATUS_OF[type(error)])
    return plain_response(words, 200)


def plain_response(words: str, status: int) -> HttpResponse:
    response = HttpResponse(f"{words}\n", content_type="text/plain; charset=utf-8", status=status)
    # Django would log the address of a refusal, and with it the secret;
    # clients.messaging.incoming has logged the reason.
    response._has_been_logged = True  # type: ignore[attr-defined]
    return response
