"""What the page of a crew's day shows: my crew's round, or the one that is asked for."""

from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from clients.models import is_primary_key
from clients.pages import current_user
from jobs.diary import next_booking_after
from jobs.models import Crew
from jobs.scope import read_crew_rounds
from jobs.views.diary import day_or_today

ALL_CREWS = "all"


def crew_round_context(request: HttpRequest, today: date) -> dict[str, Any]:
    """`?round=2027-06-07` is the day, else today; `?crew=3` or `?crew=all` whose, else my own."""
    day = day_or_today(request.GET.get("round", ""), today)
    crews = list(Crew.objects.going_out())
    chosen = chosen_crews(request, crews)
    rounds = read_crew_rounds(chosen, day=day, today=today, now=timezone.now())
    is_empty = not any(each.stops for each in rounds)
    return {
        "today": today,
        "round_day": day,
        "day_before": day - timedelta(days=1),
        "day_after": day + timedelta(days=1),
        "rounds": rounds,
        "next_booking": next_booking_after(day, chosen) if is_empty else None,
        "crews": crews,
        "crew_asked": request.GET.get("crew", ""),
        "is_mine": chosen != crews and "crew" not in request.GET,
    }


def chosen_crews(request: HttpRequest, crews: list[Crew]) -> list[Crew]:
    asked = request.GET.get("crew", "")
    if is_primary_key(asked) and (found := [crew for crew in crews if crew.pk == int(asked)]):
        return found
    own = [] if asked == ALL_CREWS else list(Crew.objects.of_person(current_user(request)))
    return own or crews
