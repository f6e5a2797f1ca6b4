"""The logo of the business is set, changed or taken away."""

from django.core.files.base import ContentFile
from django.db import transaction

from clients.actions.saving import lock_row
from clients.models import Business


@transaction.atomic
def change_logo(*, business: Business, picture: "ContentFile[bytes] | None") -> Business:
    """None takes it away; the former file goes once this is sure."""
    row = lock_row(business)
    former, storage = row.logo.name, row.logo.storage
    row.logo = picture or ""
    row.save(update_fields=["logo", "logo_width", "logo_height"])
    if former:
        transaction.on_commit(lambda: storage.delete(former))
    return row
