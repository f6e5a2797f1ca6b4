"""What was found on the structure of a deck, as the client reads it."""

from typing import Any

from django.utils.translation import gettext_lazy

from jobs.models import Defect, StructureCheck

# Nobody of the crew is an engineer (common practice, no source).
REPORT_LIMITS = gettext_lazy(
    "This is what we saw, not the report of an engineer. Have it judged and repaired by somebody"
    " who is licensed for it where you live."
)
KEEP_OFF = gettext_lazy("Please keep everybody off that place until it is repaired.")


def report_context(check: StructureCheck) -> dict[str, Any]:
    """What the report is made of, on a page, on paper and in a message; `keep_off` is empty where
    nothing is dangerous any more."""
    defects = list(check.defects.all())
    is_dangerous = any(each.is_dangerous and each.fixed_on is None for each in defects)
    return {
        "check": check,
        "defects": defects,
        "keep_off": KEEP_OFF if is_dangerous else "",
        "limits": REPORT_LIMITS,
    }


def report_notice(check: StructureCheck) -> str:
    """Each defect in a line, then what to do; in the language in force."""
    report = report_context(check)
    lines = [*map(defect_line, report["defects"]), report["keep_off"], report["limits"]]
    return "\n".join(str(line) for line in lines if line)


def defect_line(defect: Defect) -> str:
    """“Dangerous: keep off. Loose railing: at the stairs. Two posts move.”"""
    return f"{defect.get_severity_display()}. {defect}. {defect.words}".strip()
