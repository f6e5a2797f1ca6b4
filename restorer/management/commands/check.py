"""`manage.py check`: Django's own, which says first by which database of time zones it all goes."""

from typing import Any

from django.core.management.commands import check

from restorer import time_zones


class Command(check.Command):
    def handle(self, *app_labels: Any, **options: Any) -> None:
        self.stdout.write(f"Time zones: {time_zones.ZONES_VERSION} of the IANA database")
        super().handle(*app_labels, **options)
