"""What was found on the structure of a deck, as the client reads it."""

from django.utils.translation import gettext, gettext_lazy

from jobs.models import Defect, StructureCheck

# Nobody of the crew is an engineer (common practice, no source).
REPORT_LIMITS = gettext_lazy(
    "This is what we saw, not the report of an engineer. Have it judged and repaired by somebody"
    " who is licensed for it where you live."
)
KEEP_OFF = gettext_lazy("Please keep everybody off that place until it is repaired.")


def report_notice(check: StructureCheck) -> str:
    """Each defect in a line, then what to do; in the language in force."""
    defects = list(check.defects.all())
    lines = [defect_line(defect) for defect in defects]
    if any(defect.is_dangerous and defect.fixed_on is None for defect in defects):
        lines.append(str(KEEP_OFF))
    return "\n".join([*lines, str(REPORT_LIMITS)])


def defect_line(defect: Defect) -> str:
    """“Dangerous: keep off. Loose railing: at the stairs. Two posts move.”"""
    words = gettext("{severity}. {what}: {place}.").format(
        severity=defect.get_severity_display(),
        what=defect.get_kind_display(),
        place=defect.place.rstrip("."),
    )
    return f"{words} {defect.words}".strip()
