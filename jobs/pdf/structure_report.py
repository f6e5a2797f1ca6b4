"""What was found on the structure of a deck on paper, with a place to sign."""

from clients import display
from clients.models import Business
from jobs.models import StructureCheck
from jobs.pdf import rendering
from jobs.work import report_context


def structure_report_pdf(check: StructureCheck) -> bytes:
    """A tagged PDF in the language of the client, on the paper of the business's country."""
    business = Business.objects.get()
    report = report_context(check)
    photos = {photo.pk: photo for each in report["defects"] for photo in each.photos.all()}
    context = report | {"deck": check.deck, "business": business}
    with (
        display.override_business(business),
        display.in_client_language(check.deck.site.client.language),
    ):
        return rendering.render_paper(
            "jobs/pdf/structure_report.html", context, business=business, photos=photos
        )
