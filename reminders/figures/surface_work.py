"""Pieces of work: what each deck has on surfaces that come due by themselves, beside the rest."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from clients.models import Surface
from jobs.offers import work_shares
from reminders import forecast
from reminders.figures.deck_worth import DeckWorth
from reminders.forecast import Floats
from reminders.forecasting import belief_about, bridge, read_newest_coats, read_surface_coats
from reminders.models import SurfaceForecast


@dataclass(frozen=True)
class WorkPiece:
    """One coat that comes due by itself: its deck and surface, and the chance that it is worn by
    each of some days."""

    deck_id: int
    surface: str
    chances: Floats


def worn_pieces(deck_ids: Sequence[int], ends: Sequence[date], *, today: date) -> list[WorkPiece]:
    """The coats on the boards of these decks, and those on surfaces that have a day of their own;
    in order of deck, the boards leading."""
    days = [bridge.epoch_days(day) for day in ends]
    found = [*worn_boards(deck_ids, days, today), *worn_surfaces(deck_ids, days, today)]
    return sorted(found, key=lambda piece: piece.deck_id)


def worn_boards(deck_ids: Sequence[int], days: Sequence[float], today: date) -> Iterator[WorkPiece]:
    coats = read_newest_coats(deck_ids, today=today)
    if coats is None:
        return
    core = bridge.core_coats(coats, today=today)
    chances = forecast.worn_chances_by_day(core, bridge.active_posterior(), days)
    for deck, row in zip(coats.deck_id, chances, strict=True):
        yield WorkPiece(deck, Surface.BOARDS, row)


def worn_surfaces(
    deck_ids: Sequence[int], days: Sequence[float], today: date
) -> Iterator[WorkPiece]:
    """By the belief about each kind of surface."""
    rows = SurfaceForecast.objects.filter(deck__in=deck_ids).order_by()
    own = set(rows.values_list("deck_id", "surface"))
    coats = read_surface_coats(sorted({deck for deck, _ in own}), {}, today=today) if own else None
    if coats is None:
        return
    core = bridge.core_coats(coats, today=today)
    names = np.array(coats.surface)
    for name in forecast.SURFACE_PRIORS:
        listed = [row for row in np.flatnonzero(names == name) if (coats.deck_id[row], name) in own]
        if listed:
            part = core.take(np.array(listed))
            chances = forecast.worn_chances_by_day(part, belief_about(name), days)
            for row, chance in zip(listed, chances, strict=True):
                yield WorkPiece(coats.deck_id[row], name, chance)


@dataclass(frozen=True)
class SharedWorth:
    """What each piece takes and brings; `is_first` marks one piece of each deck, which bears the
    visit and is counted as the deck."""

    worth: DeckWorth
    is_first: np.ndarray


def worth_of_pieces(
    pieces: Sequence[WorkPiece], worth: DeckWorth, rows: Mapping[int, int], *, today: date
) -> SharedWorth:
    """`worth` is that of whole decks, `rows` the row of each deck in it. The boards take along what
    has no day of its own."""
    places = np.array([rows[piece.deck_id] for piece in pieces])
    is_first = np.ones(len(pieces), dtype=bool)
    is_first[1:] = places[1:] != places[:-1]
    is_upright = np.array([piece.surface != Surface.BOARDS for piece in pieces])
    share = np.array(shares_of_work(pieces, today=today))
    visit = worth.visit[places]
    hours = (worth.hours[places] - visit[:, None]) * share[:, None]
    hours += np.where(is_first, visit, 0.0)[:, None]
    money = worth.money[places] * share[:, None]
    for amounts in (hours, money):  # only boards are stripped
        amounts[is_upright, 1] = amounts[is_upright, 0]
    spread = replace(
        worth,
        hours=hours,
        money=money,
        is_estimate=worth.is_estimate[places],
        is_strip=worth.is_strip[places] & ~is_upright,
        visit=visit,
    )
    return SharedWorth(spread, is_first)


def shares_of_work(pieces: Sequence[WorkPiece], *, today: date) -> list[float]:
    """What part of a recoat of its deck each piece is; the boards are the rest of it."""
    upright = [piece for piece in pieces if piece.surface != Surface.BOARDS]
    shares = work_shares({piece.deck_id for piece in upright}, today=today)
    own = {
        (piece.deck_id, piece.surface): shares[piece.deck_id].get(piece.surface, 0.0)
        for piece in upright
    }
    apart: dict[int, float] = defaultdict(float)
    for (deck, _), share in own.items():
        apart[deck] += share
    return [own.get((each.deck_id, each.surface), 1 - apart[each.deck_id]) for each in pieces]
