"""Forms of texts and of the owner's own law rules."""

from datetime import date
from typing import Any

from babel import Locale
from babel.core import UnknownLocaleError
from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import textarea
from clients.messaging import texts
from clients.messaging.law import (
    BASIS_LABELS,
    CLOSED_ALL_DAY,
    DAY_KINDS,
    NONE_NEEDED,
    REGISTER,
    LegalRule,
    allowed_hours,
    contents,
)
from clients.messaging.texts import standard
from clients.models import Client, traits_of

TIME_ERROR = "Write a time like 09:00."
FIELD_CHECKS = {"subject": standard.check_subject, "body": standard.check_body}


class TextForm(forms.Form):
    """The wording of one message; only the fields of its purpose may stand in braces."""

    subject = forms.CharField(
        label="Subject",
        max_length=300,
        required=False,
        error_messages={"required": "An e-mail needs a subject."},
    )
    body = forms.CharField(
        label="Text",
        max_length=20_000,
        strip=False,
        widget=textarea(18),
    )
    client = forms.CharField(
        label="Try it with",
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"list": "clients"}),
        help_text="The name of a client, or part of it.",
    )

    def __init__(self, *args: Any, purpose: str, channel: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.purpose = purpose
        self.channel = channel
        traits = traits_of(channel)
        self.fields["subject"].required = traits.needs_subject
        if traits.on_one_line:
            del self.fields["subject"]
            self.fields["body"].widget.attrs["rows"] = 8

    @property
    def wording(self) -> tuple[str, str]:
        """Subject and text as typed, whether or not they can be kept."""
        data = self.data if self.is_bound else self.initial
        return str(data.get("subject", "")).strip(), str(data.get("body", "")).replace("\r\n", "\n")

    def clean_body(self) -> str:
        body = str(self.cleaned_data["body"]).replace("\r\n", "\n").strip("\n")
        self.validate_parts(body=body)
        return body

    def clean_subject(self) -> str:
        subject = str(self.cleaned_data["subject"])
        self.validate_parts(subject=subject)
        return subject

    def validate_parts(self, **parts: str) -> None:
        try:
            for name, text in parts.items():
                FIELD_CHECKS[name](text, self.purpose, self.channel)
        except texts.TextProblem as problem:
            raise ValidationError(str(problem)) from problem

    def preview_client(self) -> Client | None:
        """The client named, else the newest."""
        name = str((self.data if self.is_bound else self.initial).get("client", "")).strip()
        rows = Client.objects.current().prefetch_related("properties__decks")
        return (
            rows.filter(name__icontains=name[:200].replace("\x00", ""))
            .order_by("-created_at", "-pk")
            .first()
        )


class LanguageForm(forms.Form):
    """A language to write texts in, by its code."""

    language = forms.CharField(
        label="Language", max_length=12, help_text="Its code, such as gd or fr-CA."
    )

    def clean_language(self) -> str:
        code = str(self.cleaned_data["language"]).replace("_", "-")
        try:
            Locale.parse(code, sep="-")
        except (UnknownLocaleError, ValueError, TypeError) as error:
            raise ValidationError(
                "This is no code of a language that is known here. Write it like fr or pt-BR."
            ) from error
        return code


class LawRuleForm(forms.Form):
    """A rule of the owner for one country and medium, from a day on."""

    valid_from = forms.DateField(
        label="Counts from", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )
    bases = forms.MultipleChoiceField(
        label="May be written to",
        choices=list(BASIS_LABELS.items()),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one, or nobody can be written to."},
    )
    customer = forms.IntegerField(
        label="Existing customer: months after the last job",
        min_value=1,
        max_value=120,
        required=False,
    )
    inquiry = forms.IntegerField(
        label="Inquiry: months after it", min_value=1, max_value=120, required=False
    )
    none_needed = forms.IntegerField(
        label="Without consent: months after the last job",
        min_value=1,
        max_value=120,
        required=False,
        help_text="Empty means without an end.",
    )
    must_include = forms.MultipleChoiceField(
        label="Every message includes",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        choices=[(name, words) for name, (words, *_) in contents.REQUIRED_CONTENTS.items()],
    )
    source = forms.CharField(
        label="Where this is from",
        max_length=500,
        help_text="The act, a page, or the adviser who said so.",
    )
    checked_on = forms.DateField(
        label="Checked on", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )
    note = forms.CharField(label="Note", max_length=500, required=False)

    def __init__(
        self, *args: Any, medium: str, today: date, rule: LegalRule, **kwargs: Any
    ) -> None:
        kwargs["initial"] = law_rule_initial(rule, today)
        super().__init__(*args, **kwargs)
        self.today = today
        self.rule = rule
        if rule.register_days is None:  # nothing says how long a look into it counts
            self.fields["bases"].choices = [  # type: ignore[attr-defined]
                (basis, label) for basis, label in BASIS_LABELS.items() if basis != REGISTER
            ]
        self.has_hours = traits_of(medium).disturbs
        for day, label in zip(
            DAY_KINDS, ("Monday to Friday", "Saturday", "Sunday and holidays"), strict=True
        ):
            if self.has_hours:
                for which, words in (("from", "from"), ("to", "to")):
                    self.fields[f"{day}_{which}"] = forms.TimeField(
                        label=f"{label}, {words}",
                        required=False,
                        error_messages={"invalid": TIME_ERROR},
                        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
                    )

    @property
    def hour_fields(self) -> list[list[forms.BoundField]]:
        return (
            [[self[f"{day}_from"], self[f"{day}_to"]] for day in DAY_KINDS]
            if self.has_hours
            else []
        )

    def clean_checked_on(self) -> date:
        day: date = self.cleaned_data["checked_on"]
        if day > self.today:
            raise ValidationError("This day is still to come.")
        return day

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        for day in DAY_KINDS if self.has_hours else ():
            opens = values.get(f"{day}_from")
            closes = values.get(f"{day}_to")
            if bool(opens) != bool(closes):
                self.add_error(
                    f"{day}_{'to' if opens else 'from'}", "Write both times, or neither."
                )
            elif opens and closes and closes <= opens:
                self.add_error(f"{day}_to", "This is not after the time it begins.")
        return values

    @property
    def rules(self) -> dict[str, Any]:
        """As `LawRule.rules` keeps them."""
        values = self.cleaned_data
        months = {
            basis: values[basis]
            for basis in ("customer", "inquiry", NONE_NEEDED)
            if values.get(basis)
        }
        found = {
            "bases": values["bases"],
            "months": months,
            "must_include": values["must_include"],
            "asking_must_include": list(self.rule.asking_must_include),
            "register_days": self.rule.register_days,
            "implied_if_told": self.rule.implied_if_told,
            "note": values["note"],
            "act_within": self.rule.act_within,
            "works_for": self.rule.works_for,
            "act_within_is_working_days": self.rule.act_within_is_working_days,
            "reply_required": self.rule.reply_required,
        }
        return found | ({"window": self.window} if self.window else {})

    @property
    def window(self) -> dict[str, Any] | None:
        """None if no hours were written at all: the rule names none."""
        values = self.cleaned_data
        pairs = {day: (values.get(f"{day}_from"), values.get(f"{day}_to")) for day in DAY_KINDS}
        if not any(opens for opens, _ in pairs.values()):
            return None
        return {
            day: [f"{a:%H:%M}", f"{b:%H:%M}"] if a and b else CLOSED_ALL_DAY
            for day, (a, b) in pairs.items()
        }


def law_rule_initial(rule: LegalRule, today: date) -> dict[str, Any]:
    found: dict[str, Any] = {
        "valid_from": today,
        "bases": sorted(rule.bases),
        "must_include": list(rule.must_include),
        "source": rule.source if rule.is_own else "",
        "checked_on": today,
        "note": rule.note,
        **rule.months,
    }
    for day in DAY_KINDS if rule.window_local else ():
        opens, closes = allowed_hours(rule.window_local, day) or ("", "")  # type: ignore[arg-type]
        found |= {f"{day}_from": opens, f"{day}_to": closes}
    return found
