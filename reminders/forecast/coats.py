"""The coats to forecast or to learn from, as arrays with a fixed vocabulary, checked on entry."""

from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reminders.forecast.arrays import Booleans, Floats
from reminders.forecast.unknown_mix import PUBLISHED_MIX, UnknownMix

CATEGORY_LEVELS: dict[str, tuple[str, ...]] = {
    "finish_class": (
        "penetrating_oil",
        "clear_repellent",
        "repellent_preservative",
        "tinted",
        "semitransparent",
        "solid_film",
        "clear_film",
    ),
    "pigment": ("none", "light", "dark"),
    "base": ("water", "solvent"),
    "species_class": ("soft", "durable_soft", "hardwood", "modified"),
    "texture": ("smooth", "sawn", "weathered"),
    "airflow": ("open", "poor"),
    "traffic": ("household", "light", "heavy"),
    "salt": ("none", "near", "spray"),
    "litter": ("none", "some", "heavy"),
    "preparation": ("clean", "strip", "none"),
}
UNKNOWN = "unknown"  # a word that these take beside their levels; its code is -1
MAY_BE_UNKNOWN = ("finish_class", "species_class")
FILM_CLASSES = ("solid_film", "clear_film")
# 1870 to 2170: anything else is a slip of the pen
EARLIEST_DAY = -36525.0
LATEST_DAY = 73050.0
# name → (lowest, highest, may be missing)
NUMERIC_LIMITS: dict[str, tuple[float, float, bool]] = {
    "coated_on": (EARLIEST_DAY, LATEST_DAY, False),
    "sound_on": (EARLIEST_DAY, LATEST_DAY, True),
    "worn_on": (EARLIEST_DAY, LATEST_DAY, True),
    "asked_on": (EARLIEST_DAY, LATEST_DAY, True),
    "recoatable_on": (EARLIEST_DAY, LATEST_DAY, True),
    "asked_worn": (0, 1, False),
    "roof_cover": (0, 1, False),
    "summer_shade": (0, 1, True),
    "winter_shade": (0, 1, True),
    "orientation": (0, 360, True),
    "height": (0, 200, True),
    "latitude": (-90, 90, False),
    "coats": (1, 50, True),
    "coated_within": (0, 36525, False),
    "pool": (0, 1, False),
}
# name → (lowest, highest) of what is kept of each graded visit
VISIT_COLUMNS = {
    "graded_on": (EARLIEST_DAY, LATEST_DAY),
    "grades": (0.0, 5.0),
    "graded_by_client": (0, 1),
    "graders": (-1, np.inf),
}
MONTHLY_MAXIMA = {"sun": 60.0, "wet_days": 31.0}


def _raise_for_rows(name: str, rule: str, values: NDArray[Any], bad: Booleans) -> None:
    if bad.any():
        at = np.argwhere(bad)[0]
        raise ValueError(f"{name} {rule}; row {at[0]} has {values[tuple(at)]!s}")


def encode_levels(name: str, values: ArrayLike, count: int) -> NDArray[np.int8]:
    """Turn words of the vocabulary into codes (their place in `CATEGORY_LEVELS`).

    Parameters
    ----------
    name : str
        Which vocabulary.
    values : array_like
        Words, or codes already; one, or one a row.
    count : int
        Number of rows.

    Returns
    -------
    ndarray of int8, shape (count,)
        The codes.
    """
    words = CATEGORY_LEVELS[name]
    given = np.asarray(values)
    codes = given if given.dtype.kind in "iu" else np.full(given.shape, -1, dtype=np.int8)
    if codes is not given:
        for code, word in enumerate(words):
            codes[given == word] = code
    bad = (codes < 0) | (codes >= len(words))
    if name in MAY_BE_UNKNOWN:
        bad &= given != (UNKNOWN if codes is not given else -1)
    _raise_for_rows(
        name, f"must be one of {', '.join(words)}", np.atleast_1d(given), np.atleast_1d(bad)
    )
    return np.broadcast_to(codes.astype(np.int8), (count,))


def _numeric_column(name: str, values: ArrayLike, count: int) -> Floats:
    low, high, optional = NUMERIC_LIMITS[name]
    array = np.asarray(values, dtype=float)
    inside = (array >= low) & (array <= high)
    bad = np.atleast_1d(~(inside | (np.isnan(array) & optional)))
    _raise_for_rows(name, f"must lie between {low:g} and {high:g}", np.atleast_1d(array), bad)
    return _broadcast_rows(name, array, (count,))


def _monthly_column(name: str, values: ArrayLike, count: int) -> Floats:
    array = np.atleast_2d(np.asarray(values, dtype=float))
    if array.shape[1] != 12:
        raise ValueError(f"{name} must have twelve months a row; got shape {array.shape}")
    high = MONTHLY_MAXIMA[name]
    _raise_for_rows(
        name, f"must lie between 0 and {high:g}", array, ~((array >= 0) & (array <= high))
    )
    if name == "sun":
        _raise_for_rows(
            name, "must not be zero all year", array, (array.sum(axis=1, keepdims=True) <= 0)
        )
    return _broadcast_rows(name, array, (count, 12))


def _broadcast_rows(name: str, array: NDArray[Any], shape: tuple[int, ...]) -> NDArray[Any]:
    try:
        return np.broadcast_to(array, shape)
    except ValueError as wrong:
        raise ValueError(
            f"{name} must have one value or {shape[0]} rows; got shape {array.shape}"
        ) from wrong


@dataclass(frozen=True, eq=False)
class ArrayRecord:
    """A frozen dataclass whose fields are arrays with equally many rows, or no arrays at all and
    shared by all rows."""

    def take(self, rows: Any) -> Self:
        """Return some of the rows, without checking them again.

        Parameters
        ----------
        rows : slice or ndarray
            Which rows.

        Returns
        -------
        Self
            Those rows.
        """
        part = object.__new__(type(self))
        for field in fields(self):
            value = getattr(self, field.name)
            kept = value[rows] if isinstance(value, np.ndarray) else value
            object.__setattr__(part, field.name, kept)
        return part


@dataclass(frozen=True, kw_only=True, eq=False)
class Coats(ArrayRecord):
    """Coats on decks: one row a coat, one value for all rows where they share it.

    Words may be given as strings or as codes; they are kept as codes. Everything left out is as on
    the reference deck.

    Parameters
    ----------
    coated_on : array_like
        Date of the coat in days since 1970-01-01; the middle of the span where only that is known.
    latitude : array_like
        Degrees, south negative; tells which half of the year is summer.
    sun : array_like, shape (12,), (1, 12) or (n, 12)
        Open horizontal sun of the place in each month, MJ/m² a day.
    wet_days : array_like, shape (12,), (1, 12) or (n, 12)
        Days with rain in each month.
    deck : array_like of int
        Key of the deck; -1 for a deck that is not in the books.
    finish_class, pigment, base, species_class, texture : array_like
        Words of `CATEGORY_LEVELS`; class of finish and of species may be `UNKNOWN` (of an unknown
        finish pigment and base are not looked at).
    roof_cover : array_like
        Share, 0 to 1.
    summer_shade, winter_shade : array_like
        Shares, 0 to 1; NaN if the shade is not known.
    orientation : array_like
        Bearing of the open side, degrees; NaN if open all round.
    height : array_like
        Of the boards above the ground, m; NaN if not measured.
    airflow, traffic, salt : array_like
        Words of `CATEGORY_LEVELS`.
    pool : array_like of bool
        Whether beside a pool.
    litter : array_like
        Words of `CATEGORY_LEVELS`.
    coats : array_like of int
        Coats put on by the job, at least 1; NaN if nobody counted.
    preparation : array_like
        Words of `CATEGORY_LEVELS`.
    sound_on : array_like
        Last inspection that found this coat sound; NaN if none.
    worn_on : array_like
        First inspection that found this coat worn; NaN if none.
    recoatable_on : array_like
        Last inspection that found that a recoat of this coat still does; NaN if none.
    asked_on : array_like
        Day of the client's own last look at this coat; NaN if none.
    asked_worn : array_like of bool
        Whether it looked worn to them.
    coated_within : array_like
        Days that the coat may lie before or after that date; 0 where the day is known.
    graded_on : array_like, shape (n, g)
        Days of the newest graded visits to this coat; NaN where there are fewer. They are read only
        along a path of wear, and do without it.
    grades : array_like, shape (n, g)
        As-found grade of each, 0 to 5.
    graded_by_client : array_like of bool, shape (n, g)
        Whether the client looked.
    graders : array_like of int, shape (n, g)
        Key of who graded; −1 if that is not known.
    mix : UnknownMix
        What stands in for what is unknown; one for all rows.
    """

    coated_on: Any
    latitude: Any
    sun: Any
    wet_days: Any
    deck: Any = -1
    finish_class: Any = "penetrating_oil"
    pigment: Any = "none"
    base: Any = "water"
    species_class: Any = "soft"
    texture: Any = "smooth"
    roof_cover: Any = 0.0
    summer_shade: Any = 0.0
    winter_shade: Any = 0.0
    orientation: Any = np.nan
    height: Any = np.nan
    airflow: Any = "open"
    traffic: Any = "household"
    salt: Any = "none"
    pool: Any = False
    litter: Any = "none"
    coats: Any = 2
    preparation: Any = "clean"
    sound_on: Any = np.nan
    worn_on: Any = np.nan
    recoatable_on: Any = np.nan
    asked_on: Any = np.nan
    asked_worn: Any = False
    coated_within: Any = 0.0
    graded_on: Any = None
    grades: Any = None
    graded_by_client: Any = None
    graders: Any = None
    mix: UnknownMix = PUBLISHED_MIX

    def __post_init__(self) -> None:
        count = np.atleast_1d(np.asarray(self.coated_on)).shape[0]
        for field in fields(self):
            if field.name == "mix" or field.name in VISIT_COLUMNS:
                continue
            object.__setattr__(
                self, field.name, _validated_column(field.name, getattr(self, field.name), count)
            )
        for name, values in _visit_columns(self, count).items():
            object.__setattr__(self, name, values)
        _raise_for_rows(
            "sound_on",
            "must not lie before coated_on",
            self.sound_on,
            self.sound_on < self.coated_on,
        )
        _raise_for_rows(
            "worn_on", "must lie after coated_on", self.worn_on, self.worn_on <= self.coated_on
        )
        _raise_for_rows(
            "worn_on", "must lie after sound_on", self.worn_on, self.worn_on <= self.sound_on
        )

    def __len__(self) -> int:
        return len(self.coated_on)

    def started(self, share: float) -> "Coats":
        """Return the same coats laid so far from the middle of their spans.

        Parameters
        ----------
        share : float
            −1 for the first possible day, 1 for the last.

        Returns
        -------
        Coats
            Coats whose day is known.
        """
        moved = self.take(slice(None))
        object.__setattr__(moved, "coated_on", self.coated_on + share * self.coated_within)
        object.__setattr__(moved, "coated_within", np.zeros(len(self)))
        return moved

    @property
    def has_unknowns(self) -> Booleans:
        """Whether finish, timber or number of coats is not known; their columns go together."""
        return (self.finish_class < 0) | (self.species_class < 0) | np.isnan(self.coats)

    @property
    def is_shade_unknown(self) -> Booleans:
        """Whether nobody knows how much of the sun is taken away."""
        return np.isnan(self.summer_shade) | np.isnan(self.winter_shade)

    @property
    def is_film(self) -> Booleans:
        """Whether the finish forms a film; an unknown one is taken for none."""
        first = CATEGORY_LEVELS["finish_class"].index(FILM_CLASSES[0])
        return self.finish_class >= first


def _visit_columns(coats: Coats, count: int) -> dict[str, NDArray[Any]]:
    # All four, or none and no column.
    given = {name: getattr(coats, name) for name in VISIT_COLUMNS}
    if given["graded_on"] is None:
        return {name: np.zeros((count, 0)) for name in VISIT_COLUMNS}
    shape = (count, np.atleast_2d(given["graded_on"]).shape[1])
    seen = ~np.isnan(np.asarray(given["graded_on"], dtype=float))
    found = {}
    for name, (low, high) in VISIT_COLUMNS.items():
        array = np.asarray(given[name], dtype=float)
        bad = seen & ~((array >= low) & (array <= high))
        _raise_for_rows(name, f"must lie between {low:g} and {high:g}", array, np.atleast_2d(bad))
        found[name] = _broadcast_rows(name, array, shape)
    return found


def _validated_column(name: str, values: ArrayLike, count: int) -> NDArray[Any]:
    if name in CATEGORY_LEVELS:
        return encode_levels(name, values, count)
    if name in MONTHLY_MAXIMA:
        return _monthly_column(name, values, count)
    if name == "deck":
        return _broadcast_rows(name, np.asarray(values, dtype=np.int64), (count,))
    return _numeric_column(name, values, count)
