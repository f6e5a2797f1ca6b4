"""The owner's pages of addresses that are told of what happens in the book."""

from django import forms
from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.outward import mistake_of_outward_url
from clients.pages import (
    FormPage,
    ListPage,
    current_user,
    owner_required,
    render_form_page,
    render_list_page,
)
from restorer import webhooks
from restorer.models import Webhook, WebhookPost

NAME_TAKEN = "Another address has this name. Choose a different one."


class WebhookForm(forms.ModelForm):
    """Where to and about what."""

    url = forms.URLField(label="Address", assume_scheme="https", max_length=500)
    kinds = forms.MultipleChoiceField(
        label="Told when",
        choices=Webhook.Kind.choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one."},
    )

    class Meta:
        model = Webhook
        fields = ["name", "url", "kinds", "is_on"]
        help_texts = {"name": "Such as Accounts."}

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        others = Webhook.objects.filter(name__iexact=name).exclude(pk=self.instance.pk)
        if others.exists():
            raise forms.ValidationError(NAME_TAKEN)
        return name

    def clean_url(self) -> str:
        url = str(self.cleaned_data["url"])
        if mistake := mistake_of_outward_url(url):
            raise forms.ValidationError(mistake)
        return url


@require_GET
@owner_required
def list_webhooks(request: HttpRequest) -> HttpResponse:
    """The page `webhooks`."""
    return render_webhooks(request)


def render_webhooks(
    request: HttpRequest, *, new: Webhook | None = None, secret: str = ""
) -> HttpResponse:
    """A new secret is shown this once."""
    around = ListPage(
        "Programs we tell",
        "What happens in the book is posted to these addresses, signed, until it is taken.",
        rows="restorer/_webhooks.html",
        empty="No address yet.",
        back=(reverse("programs"), "Programs"),
        actions=((reverse("webhook_add"), "New address"),),
    )
    rows = Webhook.objects.for_list()
    response = render_list_page(request, around, rows, new=new, secret=secret)
    if secret:
        response["Cache-Control"] = "private, no-store"
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def add_webhook(request: HttpRequest) -> HttpResponse:
    form = WebhookForm(
        request.POST if request.method == "POST" else None,
        instance=Webhook(made_by=current_user(request), made_at=timezone.now()),
    )
    secret = webhooks.new_signing_secret()
    form.instance.keep_secret(secret)
    if form.is_valid() and save_webhook(form):
        return render_webhooks(request, new=form.instance, secret=secret)
    return render_webhook_form(request, form, "New address")


def save_webhook(form: WebhookForm) -> bool:
    try:
        with transaction.atomic():
            form.save()
    except IntegrityError:
        form.add_error("name", NAME_TAKEN)
        return False
    return True


def render_webhook_form(request: HttpRequest, form: WebhookForm, title: str) -> HttpResponse:
    back = reverse("webhooks")
    after = "restorer/_webhook_end.html" if form.instance.pk else ""
    page = FormPage(title, back=(back, "Programs we tell"), cancel=back, after=after)
    return render_form_page(request, page, form=form, hook=form.instance)


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def edit_webhook(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Webhook, pk=pk)
    row.why_off = ""
    form = WebhookForm(request.POST if request.method == "POST" else None, instance=row)
    if form.is_valid() and save_webhook(form):
        messages.success(request, f"{row} is saved.")
        return redirect("webhooks")
    return render_webhook_form(request, form, str(row))


@require_http_methods(["GET", "HEAD", "POST"])
@owner_required
def show_webhook(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `webhook`: its posts, newest first; by POST a test, a new secret, or its end."""
    hook = get_object_or_404(Webhook, pk=pk)
    if request.method == "POST":
        return change_webhook(request, hook)
    around = ListPage(
        str(hook),
        hook.url,
        rows="restorer/_webhook_posts.html",
        empty="Nothing has happened yet that it is told of.",
        back=(reverse("webhooks"), "Programs we tell"),
        actions=((reverse("webhook_edit", args=[pk]), "Change"),),
    )
    posts = hook.posts.prefetch_related("tries")
    return render_list_page(request, around, posts, hook=hook)


def change_webhook(request: HttpRequest, hook: Webhook) -> HttpResponse:
    if "end" in request.POST:
        hook.delete()
        messages.success(request, f"{hook.name} is told nothing more.")
        return redirect("webhooks")
    if "secret" in request.POST:
        secret = webhooks.new_signing_secret()
        hook.keep_secret(secret)
        hook.save(update_fields=["secret_sealed"])
        return render_webhooks(request, new=hook, secret=secret)
    webhooks.send_trial_post(hook=hook, now=timezone.now())
    messages.success(request, "A test leaves within a minute.")
    return redirect("webhook", hook.pk)


@require_POST
@owner_required
def repeat_webhook_post(request: HttpRequest, pk: int) -> HttpResponse:
    post = get_object_or_404(WebhookPost, pk=pk)
    if webhooks.post_again(post=post, now=timezone.now()):
        messages.success(request, "It leaves within a minute.")
    return redirect("webhook", post.hook_id)
