"""Texts to clients: what there is, changing one with a preview that follows the typing, and back to
the program's."""

from csp.constants import NONE, SELF, UNSAFE_INLINE
from csp.decorators import csp, csp_update
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.messaging import texts
from clients.messaging.actions import texts as actions
from clients.messaging.forms.texts import LanguageForm, TextForm
from clients.messaging.models import MessageText
from clients.messaging.texts import Wording
from clients.messaging.texts_page import (
    TextPreview,
    language_name,
    languages_in_use,
    preview_text,
    text_listings,
)
from clients.models import Channel, Client, traits_of
from clients.pages import business_of, business_today, current_user, owner_required

CLIENTS_SUGGESTED = 100


@require_GET
@owner_required
def text_list(request: HttpRequest) -> HttpResponse:
    """All purposes and channels in one language, each with whose wording is in force."""
    form = LanguageForm(request.GET if "language" in request.GET else None)
    language = (
        form.cleaned_data["language"]
        if form.is_bound and form.is_valid()
        else texts.FALLBACK_LANGUAGE
    )
    context = {
        "wanted": language,
        "languages": languages_in_use(language),
        "rows": text_listings(business_of(request), language),
        "channels": Channel.choices,
        "form": form,
    }
    return render(request, "settings/texts.html", context)


@csp_update({"frame-src": [SELF]})
@require_http_methods(["GET", "POST"])
@owner_required
def edit_text(request: HttpRequest, purpose: str, channel: str, language: str) -> HttpResponse:
    """The form of one text. Saving checks it;
    the button Preview, and typing where scripts run, change nothing."""
    words = wording_or_404(request, purpose, channel, language)
    values = {"subject": words.subject, "body": words.body, "client": request.GET.get("client", "")}
    form = TextForm(request.POST or None, initial=values, purpose=purpose, channel=channel)
    if "save" in request.POST and form.is_valid():
        own = Wording(form.cleaned_data.get("subject", ""), form.cleaned_data["body"], language)
        actions.save_message_text(
            purpose=purpose,
            channel=channel,
            words=own,
            by=current_user(request),
            now=timezone.now(),
        )
        messages.success(request, "Saved. Messages already in the outbox keep their text.")
        return redirect("speech:text", purpose, channel, language)
    context = {
        "form": form,
        "words": words,
        "purpose": purpose,
        "channel": channel,
        "wanted": language,
        "tongue": language_name(language),
        "instead": language_name(words.language),
        "name": MessageText.Purpose(purpose).label,
        "medium": Channel(channel).label,
        "traits": traits_of(channel),
        "lacks_page": texts.lacks_client_page(words, purpose, channel),
        "fields": texts.fields_of(purpose, channel),
        "preview": preview_of(request, form, language),
        "clients": (
            Client.objects.current()
            .order_by("-created_at")[:CLIENTS_SUGGESTED]
            .values_list("name", flat=True)
        ),
    }
    return render(request, "settings/text.html", context)


@csp(
    {
        "default-src": [NONE],
        "style-src": [UNSAFE_INLINE],
        "frame-ancestors": [SELF],
        "sandbox": True,
    }
)
@xframe_options_sameorigin
@require_http_methods(["GET", "POST"])
@owner_required
def show_text_html(request: HttpRequest, purpose: str, channel: str, language: str) -> HttpResponse:
    """The HTML of an e-mail as its reader sees it, of the wording in force or, sent by POST, of the
    one being typed."""
    words = wording_or_404(request, purpose, channel, language)
    if not traits_of(channel).carries_html:
        raise Http404("This way carries plain text only.")
    values = {"subject": words.subject, "body": words.body, "client": request.GET.get("client", "")}
    form = TextForm(request.POST or None, initial=values, purpose=purpose, channel=channel)
    preview = preview_of(request, form, language)
    if preview.written is None:
        return HttpResponse(preview.problem, content_type="text/plain; charset=utf-8")
    return HttpResponse(preview.written.html.replace("{unsubscribe_url}", "#"))


@require_POST
@owner_required
def text_reset(request: HttpRequest, purpose: str, channel: str, language: str) -> HttpResponse:
    wording_or_404(request, purpose, channel, language)
    if actions.reset_message_text(purpose=purpose, channel=channel, language=language):
        messages.success(request, "Back to the standard wording.")
    return redirect("speech:text", purpose, channel, language)


def wording_or_404(request: HttpRequest, purpose: str, channel: str, language: str) -> Wording:
    """The wording in force, which for a new language is that of the business or English to begin
    with."""
    if purpose not in MessageText.Purpose.values or channel not in Channel.values:
        raise Http404("There is no such text.")
    if not LanguageForm({"language": language}).is_valid():
        raise Http404("There is no such language.")
    return texts.Texts.load(business_of(request)).wording(purpose, channel, language)


def preview_of(request: HttpRequest, form: TextForm, language: str) -> TextPreview:
    subject, body = form.wording
    return preview_text(
        Wording(subject, body, language),
        business=business_of(request),
        client=form.preview_client(),
        purpose=form.purpose,
        channel=form.channel,
        today=business_today(request),
    )
