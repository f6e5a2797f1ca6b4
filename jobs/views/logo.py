"""The logo of the business: its page in the settings, and the picture as clients see it."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from clients.pages import FormPage, business_of, owner_required, render_form_page
from jobs.actions.logo import change_logo
from jobs.forms.logo import LogoForm

KEPT_SECONDS = 30 * 24 * 3600  # another picture has another name


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_logo(request: HttpRequest) -> HttpResponse:
    """The page `jobs:logo`."""
    business = business_of(request)
    if "remove" in request.POST:
        change_logo(business=business, picture=None)
        messages.success(request, "The logo is removed.")
        return redirect("jobs:logo")
    form = LogoForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        change_logo(business=business, picture=form.cleaned_data["logo"])
        messages.success(request, "The logo is saved.")
        return redirect("jobs:logo")
    page = FormPage(
        "Logo",
        "It stands on offers, care records and letters, in e-mails and on the pages that clients"
        " open. Papers look right without one too.",
        back=(reverse("settings:business"), "The business"),
        before="jobs/_logo.html",
        has_files=True,
        is_checked_by_browser=False,
        other_button=("Remove the logo", "remove", "1") if business.logo else None,
        cancel=reverse("settings:business"),
    )
    return render_form_page(request, page, form=form, business=business)


@login_not_required
@require_safe
def show_logo(request: HttpRequest, name: str) -> HttpResponse:
    """The picture `logo_picture`, for everybody; no other file."""
    business = business_of(request)
    content = business.logo_content if business.logo.name == f"logo/{name}" else b""
    if not content:
        raise Http404("This is not the logo.")
    response = HttpResponse(content, content_type="image/png")
    response["Cache-Control"] = f"public, max-age={KEPT_SECONDS}, immutable"
    return response
