"""What was found on the structure of a deck on paper, with a place to sign."""

from clients import display
from clients.models import Business
from jobs.models import StructureCheck
from jobs.pdf import rendering
from jobs.work import KEEP_OFF, REPORT_LIMITS


def structure_report_pdf(check: StructureCheck) -> bytes:
    """A tagged PDF in the language of the client, on the paper of the business's country."""
    business = Business.objects.get()
    defects = list(check.defects.prefetch_related("photos"))
    photos = {photo.pk: photo for each in defects for photo in each.photos.all()}
    is_dangerous = any(each.is_dangerous and each.fixed_on is None for each in defects)
    with (
        display.override_business(business),
        display.in_client_language(check.deck.site.client.language),
    ):
        context = {
            "check": check,
            "deck": check.deck,
            "defects": defects,
            "keep_off": KEEP_OFF if is_dangerous else "",
            "limits": REPORT_LIMITS,
            "business": business,
        }
        return rendering.render_paper(
            "jobs/pdf/structure_report.html", context, country=business.country, photos=photos
        )
