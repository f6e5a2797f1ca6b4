"""When a crew arrives: a time, from one time to another, or not said;
by the clock of the property."""

from dataclasses import dataclass
from datetime import time

from babel import Locale
from babel.dates import format_time
from django.utils.translation import gettext as _

from clients import display


@dataclass(frozen=True)
class Arrival:
    """On each day of a booking; without `begins` nothing was said, without `ends` it is about that
    time."""

    begins: time | None = None
    ends: time | None = None

    def __bool__(self) -> bool:
        return self.begins is not None

    @property
    def sort_key(self) -> tuple[bool, time, time]:
        """To sort by: soonest first, and what has no time last."""
        begins = self.begins or time.min
        return self.begins is None, begins, self.ends or begins

    @property
    def words(self) -> str:
        """“8:00 a.m.” or “8:00 a.m. – 10:00 a.m.”, as the business in force writes;
        empty if nothing was said."""
        return self.format_for_locale(display.current_locale())

    @property
    def client_sentence(self) -> str:
        """To a client, in the language in force; empty if nothing was said."""
        return _("The crew arrives about {time}.").format(time=self.words) if self else ""

    def format_for_locale(self, locale: Locale) -> str:
        return " – ".join(
            format_time(each, "short", locale=locale) for each in (self.begins, self.ends) if each
        )


UNSPECIFIED_ARRIVAL = Arrival()
