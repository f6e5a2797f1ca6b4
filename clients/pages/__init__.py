"""What pages share: who may open one and who asks, its address, the page that is a form, the page
that is a list."""

from clients.pages.access import (
    REFUSED_FEATURES,
    ViewFunction,
    business_of,
    business_today,
    current_user,
    is_kept_form,
    office_required,
    owner_required,
    posted_back,
    redirect_back,
    visitor_address,
    with_camera,
)
from clients.pages.addresses import page_address
from clients.pages.form_page import FormPage, render_form_page
from clients.pages.handing_over import (
    hand_over,
    is_handed_page,
    page_to_stay_on,
    take_back,
)
from clients.pages.list_page import ListPage, render_list_page

__all__ = [
    "REFUSED_FEATURES",
    "FormPage",
    "ListPage",
    "ViewFunction",
    "business_of",
    "business_today",
    "current_user",
    "hand_over",
    "is_handed_page",
    "is_kept_form",
    "office_required",
    "owner_required",
    "page_address",
    "page_to_stay_on",
    "posted_back",
    "redirect_back",
    "render_form_page",
    "render_list_page",
    "take_back",
    "visitor_address",
    "with_camera",
]
