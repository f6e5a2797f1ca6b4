"""The care record on paper: what was applied, when the deck may be used, how to look after it, when
it is next due."""

from clients import display
from clients.models import Business
from jobs.pdf import rendering
from jobs.work import CareRecord


def care_record_pdf(record: CareRecord) -> bytes:
    """A tagged PDF on the paper of the business's country."""
    business = Business.objects.get()
    photos = {record.photo.pk: record.photo} if record.photo else {}
    with (
        display.override_business(business),
        display.in_client_language(record.job.deck.site.client.language),
    ):
        context = {"record": record, "job": record.job, "business": business}
        return rendering.render_paper(
            "jobs/pdf/care_record.html", context, business=business, photos=photos
        )
