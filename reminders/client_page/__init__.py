"""The client's own page behind the link of a reminder: what it shows, and what each press does."""

from reminders.client_page.answers import (
    ClientPageError,
    ask_for_offer,
    propose_details,
    report_sale,
    set_contact_choices,
    skip_this_year,
    take_over_details,
    undo_client_answer,
)
from reminders.client_page.looks import LOOK_GRADES, ClientLook, record_client_look
from reminders.client_page.page import (
    ClientPage,
    ContactChoice,
    build_client_page,
    compare_details,
    contact_choices,
    page_photo_by_id,
)
from reminders.client_page.plan_answers import (
    end_plan_by_client,
    say_no_to_visit,
    take_back_plan_end,
)
from reminders.client_page.season import season_end

__all__ = [
    "LOOK_GRADES",
    "ClientLook",
    "ClientPage",
    "ClientPageError",
    "ContactChoice",
    "ask_for_offer",
    "build_client_page",
    "compare_details",
    "contact_choices",
    "end_plan_by_client",
    "page_photo_by_id",
    "propose_details",
    "record_client_look",
    "report_sale",
    "say_no_to_visit",
    "season_end",
    "set_contact_choices",
    "skip_this_year",
    "take_back_plan_end",
    "take_over_details",
    "undo_client_answer",
]
