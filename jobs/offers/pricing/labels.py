"""How the lines of an offer are worded:
written when the offer is, in the language of its client."""

from decimal import Decimal

from django.utils.formats import number_format
from django.utils.functional import lazy
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients.notation import StrOrPromise, ngettext_lazy

TASK_LABELS = {
    "set_up": _("Set up and protect surrounds"),
    "clean": _("Clean"),
    "strip": _("Strip"),
    "brighten": _("Brighten"),
    "sand": _("Light sand"),
    "coat": _("Seal"),
    "rails": _("Railing"),
    "stairs": _("Stairs"),
    "screens": _("Screens"),
    "hourly": _("Other work by the hour"),
}
UNIT_LABELS = {
    "m2": "m²",
    "m": "m",
    "tread": "tread",
    "screen": "m²",
    "hour": "hour",
    "job": "visit",
}


def task_label(task: str, times: int) -> StrOrPromise:
    """“Seal, 2 coats”, “Strip, 1 full application”."""
    counted = {
        "coat": ngettext_lazy("Seal, {times} coat", "Seal, {times} coats", times),
        "strip": ngettext_lazy(
            "Strip, {times} full application", "Strip, {times} full applications", times
        ),
    }
    return (
        format_lazy(counted[task], times=times) if task in counted else TASK_LABELS.get(task, task)
    )


def format_trimmed(value: Decimal) -> str:
    """A number without trailing zeros: 15 from 15.000, with the point or comma of the language in
    force."""
    return number_format(value.normalize())


lazy_percent = lazy(format_trimmed, str)  # written only when its sentence is
