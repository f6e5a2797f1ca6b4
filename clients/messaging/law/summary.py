"""A rule in words, for the pages that show it."""

from dataclasses import dataclass

from clients.messaging.law import contents
from clients.messaging.law.hours import DAY_KINDS, LegalHours, allowed_hours
from clients.messaging.law.rules import IMPLIED_BASES, NONE_NEEDED, REGISTER, LegalRule
from clients.messaging.models import Consent
from clients.models import Channel

BASIS_LABELS = {str(value): str(label) for value, label in Consent.Basis.choices} | {
    NONE_NEEDED: "No consent needed until somebody objects"
}
CERTAINTY_LABELS = {
    "good": "seen in the source",
    "secondary": "seen in an account of it",
    "memory": "from memory: ask before you rely on it",
}
BASIS_STARTS = {"customer": "the last job", "inquiry": "the inquiry", NONE_NEEDED: "the last job"}
IF_TOLD = "if they were told, when the address was taken, that they may refuse"


@dataclass(frozen=True)
class RuleSummary:
    """A rule as a page lists it."""

    rule: LegalRule

    @property
    def medium(self) -> str:
        return str(Channel(self.rule.medium).label)

    @property
    def bases(self) -> list[str]:
        """Each basis with how long it lasts, the strongest first."""
        order = [NONE_NEEDED, *Consent.Basis.values]
        return [self.basis_text(basis) for basis in order if basis in self.rule.bases]

    def basis_text(self, basis: str) -> str:
        if basis == REGISTER and self.rule.register_days:
            return f"{BASIS_LABELS[basis]}, {self.rule.register_days} days from the look"
        months = self.rule.months.get(basis)
        words = (
            f"{BASIS_LABELS[basis]}, {months} months from {BASIS_STARTS[basis]}"
            if months
            else BASIS_LABELS[basis]
        )
        return f"{words}, {IF_TOLD}" if self.is_if_told(basis) else words

    def is_if_told(self, basis: str) -> bool:
        return self.rule.implied_if_told and basis in IMPLIED_BASES

    @property
    def contents(self) -> list[str]:
        return [contents.required_words(name) for name in self.rule.must_include]

    @property
    def asking(self) -> list[str]:
        """What must be said to somebody who is asked to agree."""
        return [contents.required_words(name) for name in self.rule.asking_must_include]

    @property
    def window(self) -> str:
        """The hours at the property, empty if the rule names none."""
        return hours_text(self.rule.window_local) if self.rule.window_local else ""

    @property
    def window_label(self) -> str:
        return "Hours there, the region not known" if self.rule.regional_hours else "Hours there"

    @property
    def objection(self) -> str:
        """What the law allows; the program acts at once and its links never end."""
        if not self.rule.act_within:
            return "at once"
        kind = "business days" if self.rule.act_within_is_working_days else "days"
        return f"within {self.rule.act_within} {kind}"

    @property
    def certainty(self) -> str:
        return "our own rule" if self.rule.is_own else CERTAINTY_LABELS[self.rule.certainty]

    @property
    def is_doubtful(self) -> bool:
        return self.rule.certainty == "memory" and not self.rule.is_own


def hours_text(window: LegalHours) -> str:
    """“Monday to Saturday 08:00 to 20:00; Sunday and holidays never”."""
    if "from" in window:
        return f"every day {window['from']} to {window['to']}"
    weekdays, saturday, sunday = (
        f"{hours[0]} to {hours[1]}" if (hours := allowed_hours(window, day)) else "never"
        for day in DAY_KINDS
    )
    if weekdays == saturday == sunday:
        return f"every day {weekdays}"
    week = [("Monday to Friday", weekdays), ("Saturday", saturday)]
    if weekdays == saturday:
        week = [("Monday to Saturday", weekdays)]
    return "; ".join(f"{days} {hours}" for days, hours in [*week, ("Sunday and holidays", sunday)])
