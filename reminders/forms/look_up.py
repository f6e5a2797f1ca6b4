"""What narrows a look-up, as plain fields of its address."""

from django import forms
from django.http import QueryDict

from clients.models import Species
from jobs.models import FinishClass
from jobs.search import FIRST_YEAR, LAST_YEAR, NO_FILTERS, SearchFilters

ANY = [("", "Any")]
MAX_TYPED = 120  # of one field, so that a whole look-up fits
MAX_QUERY = 500


class LookUpForm(forms.Form):
    """The words and the filters of the look-up page; all may be empty."""

    q = forms.CharField(required=False, max_length=400)
    year = forms.IntegerField(
        label="Year of the work",
        required=False,
        min_value=FIRST_YEAR,
        max_value=LAST_YEAR,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={
            "invalid": "Write the year in four figures, such as 2023.",
            "min_value": "Write a year from %(limit_value)s on.",
            "max_value": "Write a year up to %(limit_value)s.",
        },
    )
    town = forms.CharField(label="Town", required=False, max_length=120)
    species = forms.ChoiceField(label="Species", required=False, choices=[*ANY, *Species.choices])
    product = forms.CharField(label="Product", required=False, max_length=120)
    finish = forms.ChoiceField(
        label="Finish class", required=False, choices=[*ANY, *FinishClass.choices]
    )
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[*ANY, ("overdue", "Overdue"), ("booked", "Booked")],
    )
    archived = forms.ChoiceField(
        label="Archived",
        required=False,
        choices=[("", "Shown too"), ("no", "Left out"), ("yes", "Only these")],
    )

    @property
    def words(self) -> str:
        self.is_valid()
        typed = str(self.cleaned_data.get("q") or self.data.get("q") or "")
        return typed.replace("\0", "").strip()

    @property
    def filters(self) -> SearchFilters:
        """Those that can be used; the others say themselves what is wrong with them."""
        self.is_valid()
        chosen = {name: value for name, value in self.cleaned_data.items() if value}
        chosen.pop("q", None)
        return SearchFilters(**chosen)

    @property
    def is_narrowed(self) -> bool:
        """Whether any filter is chosen, or cannot be used: then they are shown unfolded."""
        return self.filters != NO_FILTERS or bool(self.errors)


def typed_look_up(asked: QueryDict) -> str:
    """What was asked for as an address, without empty fields and what is no field of it."""
    kept = QueryDict(mutable=True)
    for name in LookUpForm.base_fields:
        if value := asked.get(name, "").replace("\0", "").strip()[:MAX_TYPED]:
            kept[name] = value
    return kept.urlencode()[:MAX_QUERY]
