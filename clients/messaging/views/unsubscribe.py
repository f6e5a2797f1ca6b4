"""Unsubscribing by the link in a message:
a page with a button for people, one POST for mail programs (RFC 8058)."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from clients import display
from clients.messaging import outbox
from clients.messaging.message_keys import is_whole_unsubscribe_token, token_hash
from clients.messaging.models import Message


@csrf_exempt  # a mail program brings no cookie; the token is the proof
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def unsubscribe_by_link(request: HttpRequest, token: str) -> HttpResponse:
    """GET changes nothing, for scanners follow links.
    POST answers alike for known, unknown and repeated tokens; a link that was cut short is told so.

    The page is in the language of the message; an unknown link has that of the business.
    """
    is_whole = is_whole_unsubscribe_token(token)
    is_done = is_whole and request.method == "POST"
    if is_done:
        outbox.unsubscribe_by_token(token=token, now=timezone.now())
    with display.in_client_language(language_of_link(token)):
        response = render(
            request, "clients/unsubscribe.html", {"is_done": is_done, "is_whole": is_whole}
        )
    response.status_code = 200 if is_whole else 404
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response


def language_of_link(token: str) -> str:
    """The language of the message with this link; empty if there is none."""
    rows = Message.objects.filter(unsubscribe_hash=token_hash(token))
    return rows.values_list("language", flat=True).first() or ""
