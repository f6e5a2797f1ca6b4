"""When a crew arrives: a time, from one time to another, or not said;
by the clock of the property."""

from dataclasses import dataclass
from datetime import time

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
        return " – ".join(self.clock_words(each) for each in (self.begins, self.ends) if each)

    @property
    def client_sentence(self) -> str:
        """To a client, in the language in force; empty if nothing was said."""
        words = (
            _("The crew arrives between {first} and {last}.")
            if self.ends
            else _("The crew arrives about {time}.")
        )
        return self.fill(words)

    @property
    def client_words(self) -> str:
        """“about 8:00 a.m.” or “between 8:00 a.m. and 10:00 a.m.”, in the language in force."""
        return self.fill(_("between {first} and {last}") if self.ends else _("about {time}"))

    def fill(self, words: str) -> str:
        if self.begins is None:
            return ""
        first = self.clock_words(self.begins)
        last = self.clock_words(self.ends or self.begins)
        return display.end_once(words.format(time=first, first=first, last=last))

    def clock_words(self, moment: time) -> str:
        return format_time(moment, "short", locale=display.current_locale())


UNSPECIFIED_ARRIVAL = Arrival()
