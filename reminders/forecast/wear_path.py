"""The path that wear takes through the life of a coat, and what a grade says about that life.

A cumulative probit model (McCullagh 1980, J. R. Stat. Soc. B 42:109). With x the log of the age
over the life the wear is 3·exp(p·x), so that it reaches 3, the recoat limit, when the age is the
life. Whoever grades reads the wear with an offset and a noise of their own, and cuts it into grades
at steps.
"""

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from scipy.special import ndtr

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.lognormal import LOG_SQRT_2PI

RECOAT_WEAR = 3.0
GRADE_COUNT = 6
MAX_LOG_WEAR = 4.0  # far beyond the worst grade
# Chance that a grade says nothing of the wear: another deck, a slip of the pen (judgement). Of the
# crew, of a client.
STRAY_GRADE_CHANCES = np.array([0.02, 0.1])
PATH_NAMES = (
    "path_soaking",
    "path_film",
    "step_2",
    "step_1",
    "step_4",
    "step_5",
    "noise_crew",
    "noise_client",
    "offset_client",
)
# Places among the parameters.
EXPONENTS = slice(0, 2)
STEP_WIDTHS = slice(2, 6)
NOISES = slice(6, 8)
CLIENT_OFFSET = 8


def _no_keys() -> Any:
    return np.zeros(0, dtype=np.int64)


def _no_doubt() -> Floats:
    return np.zeros((0, 0))


class GradesSeen(NamedTuple):
    """Grades of v visits and who gave them.

    Parameters
    ----------
    grade : ndarray of int, shape (v,)
        0 to 5.
    is_film : ndarray of bool, shape (v,)
        Whether the finish forms a film.
    by_client : ndarray of bool, shape (v,)
        Whether the client looked.
    grader : ndarray of int, shape (v,)
        Key of who graded; below 0 if that is not known.
    """

    grade: Integers
    is_film: Booleans
    by_client: Booleans
    grader: Integers

    def take(self, rows: Integers) -> "GradesSeen":
        """Return some of the visits.

        Parameters
        ----------
        rows : ndarray of int
            Which.

        Returns
        -------
        GradesSeen
            Those visits.
        """
        return GradesSeen(
            self.grade[rows], self.is_film[rows], self.by_client[rows], self.grader[rows]
        )


@dataclass(frozen=True, eq=False)
class WearPath:
    """A path of wear and the ways of those who grade.

    Parameters
    ----------
    parameters : ndarray, shape (len(PATH_NAMES),)
        Logs of the exponents for finishes that soak in and for films, of the widths of the steps
        from 2 to 3, from 1 to 2, from 3 to 4 and from 4 to 5, and of the noises of crew and client;
        the offset of the client.
    grader_keys : ndarray of int, shape (g,)
        Graders of the crew with an offset of their own, ascending.
    grader_offsets : ndarray, shape (g,)
        By how many grades each reads the wear too high.
    covariance : ndarray, shape (len(PATH_NAMES) + g,) twice
        Of parameters and offsets; empty if no doubt is known.
    coefficient_slope : ndarray, shape (k, len(PATH_NAMES) + g)
        How the most probable coefficients of life move with them, the reference deck first; empty
        likewise.
    """

    parameters: Floats
    grader_keys: Integers = field(default_factory=_no_keys)
    grader_offsets: Floats = field(default_factory=lambda: np.zeros(0))
    covariance: Floats = field(default_factory=_no_doubt)
    coefficient_slope: Floats = field(default_factory=_no_doubt)

    @property
    def is_complete(self) -> bool:
        """Whether it has the parameters that are known now, in number."""
        return len(self.parameters) == len(PATH_NAMES)

    @property
    def is_doubted(self) -> bool:
        """Whether it is known how sure the path is; one of the first fits of 0.3 counts as sure."""
        return self.covariance.size > 0

    @property
    def numbers(self) -> Floats:
        """Parameters, then offsets: all that is learned."""
        return np.concatenate([self.parameters, self.grader_offsets])

    def with_numbers(self, numbers: Floats) -> "WearPath":
        """Return another path for the same graders, without doubt.

        Parameters
        ----------
        numbers : ndarray, shape (len(PATH_NAMES) + g,)
            Parameters, then offsets.

        Returns
        -------
        WearPath
            The path.
        """
        size = len(PATH_NAMES)
        return WearPath(numbers[:size], self.grader_keys, numbers[size:])

    def variances(self, slope: Floats) -> Floats:
        """Return the variances that the doubt about the path gives to what moves with it.

        Parameters
        ----------
        slope : ndarray, shape (n, len(PATH_NAMES) + g)
            How each of n numbers moves with parameters and offsets.

        Returns
        -------
        ndarray, shape (n,)
            The variances.
        """
        return np.asarray(((slope @ self.covariance) * slope).sum(axis=1))

    @property
    def exponents(self) -> Floats:
        """Of finishes that soak in and of films; 1 is even wear, above it wear comes late."""
        return np.exp(self.parameters[EXPONENTS])

    @property
    def steps(self) -> Floats:
        """Wear at which the grades from 1 to 5 begin."""
        two, one, four, five = np.exp(self.parameters[STEP_WIDTHS])
        below = np.array([RECOAT_WEAR - two - one, RECOAT_WEAR - two])
        above = np.array([RECOAT_WEAR + four, RECOAT_WEAR + four + five])
        return np.concatenate([below, [RECOAT_WEAR], above])

    @property
    def noises(self) -> Floats:
        """Standard deviation of a grade around the path, of the crew and of a client."""
        return np.exp(self.parameters[NOISES])

    def life_shares(self) -> Floats:
        """Return how much of its life a coat has behind it when each grade begins.

        Returns
        -------
        ndarray, shape (2, 5)
            Age over life at the steps to the grades 1 to 5, of finishes that soak in and of films.
        """
        wear = np.maximum(self.steps, 0.0) / RECOAT_WEAR
        return np.asarray(wear ** (1 / self.exponents[:, None]))

    def wear(self, is_film: Booleans, x: Floats) -> Floats:
        """Return the wear.

        Parameters
        ----------
        is_film : ndarray of bool, shape (v,)
            Whether the finish forms a film.
        x : ndarray, shape (v, c)
            Logs of age over life.

        Returns
        -------
        ndarray, shape (v, c)
            On the scale of grades; cut off far beyond the worst.
        """
        exponent = self.exponents[is_film.astype(np.int64)][:, None]
        return RECOAT_WEAR * np.exp(np.minimum(exponent * x, MAX_LOG_WEAR))

    def offsets(self, grader: Integers, by_client: Booleans) -> Floats:
        """Return by how many grades each reads the wear too high.

        Parameters
        ----------
        grader : ndarray of int, shape (v,)
            Keys of who graded.
        by_client : ndarray of bool, shape (v,)
            Whether the client looked.

        Returns
        -------
        ndarray, shape (v,)
            0 for one of the crew who is not known.
        """
        place = self.grader_places(grader)
        known = np.append(self.grader_offsets, 0.0)
        return np.where(by_client, self.parameters[CLIENT_OFFSET], known[place])

    def grader_places(self, grader: Integers) -> Integers:
        """Return the place of each grader among those with an offset.

        Parameters
        ----------
        grader : ndarray of int, shape (v,)
            Keys.

        Returns
        -------
        ndarray of int, shape (v,)
            −1 for one who has none.
        """
        if not len(self.grader_keys):
            return np.full(len(grader), -1, dtype=np.int64)
        place = np.minimum(np.searchsorted(self.grader_keys, grader), len(self.grader_keys) - 1)
        return np.where(self.grader_keys[place] == grader, place, -1)

    def chances(self, seen: GradesSeen, x: Floats) -> Floats:
        """Return the chance of the grade that each visit gave.

        Parameters
        ----------
        seen : GradesSeen
            The grades.
        x : ndarray, shape (v, c)
            Logs of age over life.

        Returns
        -------
        ndarray, shape (v, c)
            Never nought: a grade in some may say nothing of the wear.
        """
        ends = self._standardised_ends(seen, x)
        stray = STRAY_GRADE_CHANCES[seen.by_client.astype(np.int64)][:, None]
        return (1 - stray) * (ndtr(ends[0]) - ndtr(ends[1])) + stray / GRADE_COUNT

    def worn_chances(self, is_film: Booleans, x: Floats) -> Floats:
        """Return the chance that one of the crew without an offset grades 3 or more.

        Parameters
        ----------
        is_film : ndarray of bool, shape (v,)
            Whether the finish forms a film.
        x : ndarray, shape (v, c)
            Logs of age over life.

        Returns
        -------
        ndarray, shape (v, c)
            Chances.
        """
        stray = STRAY_GRADE_CHANCES[0]
        beyond = ndtr((self.wear(is_film, x) - RECOAT_WEAR) / self.noises[0])
        return (1 - stray) * beyond + stray / 2

    def _standardised_ends(self, seen: GradesSeen, x: Floats) -> tuple[Floats, Floats]:
        # How far the wear lies above the lower and above the upper step of each grade.
        read = self.wear(seen.is_film, x) + self.offsets(seen.grader, seen.by_client)[:, None]
        noise = self.noises[seen.by_client.astype(np.int64)][:, None]
        steps = np.concatenate([[-np.inf], self.steps, [np.inf]])
        lower, upper = (steps[seen.grade + more][:, None] for more in (0, 1))
        return (read - lower) / noise, (read - upper) / noise

    def slopes(self, seen: GradesSeen, x: Floats, weight: Floats) -> Floats:
        """Return how the weighed log chances of each visit move with parameters and offsets.

        Parameters
        ----------
        seen : GradesSeen
            The grades.
        x : ndarray, shape (v, c)
            Logs of age over life.
        weight : ndarray, shape (v, c)
            Weights.

        Returns
        -------
        ndarray, shape (v, len(PATH_NAMES) + g)
            The gradients of the sums over c.
        """
        low, high, by_noise = self._end_slopes(seen, x, weight)
        kind, film = seen.by_client.astype(np.int64), seen.is_film.astype(np.int64)
        exponent = self.exponents[film][:, None]
        moved = np.where(exponent * x < MAX_LOG_WEAR, exponent * x, 0.0)
        by_exponent = ((low - high) * self.wear(seen.is_film, x) * moved).sum(axis=1)
        visit = np.arange(len(x))
        found = np.zeros((len(x), len(self.parameters) + len(self.grader_keys)))
        found[visit, EXPONENTS.start + film] = by_exponent
        found[:, STEP_WIDTHS] = self._step_slopes(seen.grade, low.sum(axis=1), high.sum(axis=1))
        found[visit, NOISES.start + kind] = by_noise
        place = self.grader_places(seen.grader)
        known = np.flatnonzero(seen.by_client | (place >= 0))
        offset = np.where(seen.by_client, CLIENT_OFFSET, len(self.parameters) + place)[known]
        found[known, offset] = (low - high).sum(axis=1)[known]
        return found

    def _end_slopes(
        self, seen: GradesSeen, x: Floats, weight: Floats
    ) -> tuple[Floats, Floats, Floats]:
        # By the wear above the lower and above the upper step of each grade, shape (v, c), the
        # upper one's sign turned; and by the log of the noise, shape (v,).
        lower, upper = self._standardised_ends(seen, x)
        kind = seen.by_client.astype(np.int64)
        stray = STRAY_GRADE_CHANCES[kind][:, None]
        inside = (1 - stray) * (ndtr(lower) - ndtr(upper))
        scale = weight * (1 - stray) / (inside + stray / GRADE_COUNT)
        low, high = (scale * np.exp(-(end**2) / 2 - LOG_SQRT_2PI) for end in (lower, upper))
        finite = [np.where(np.isfinite(end), end, 0.0) for end in (lower, upper)]
        by_noise = (finite[1] * high - finite[0] * low).sum(axis=1)
        noise = self.noises[kind][:, None]
        return low / noise, high / noise, by_noise

    def _step_slopes(self, grade: Integers, low: Floats, high: Floats) -> Floats:
        # By the logs of the four widths: each moves its own step and those beyond it.
        visit = np.arange(len(grade))
        moved = np.zeros((len(grade), GRADE_COUNT + 1))
        moved[visit, grade + 1] += high
        moved[visit, grade] -= low
        two, one, four, five = np.exp(self.parameters[STEP_WIDTHS])
        return np.column_stack(
            [
                -two * (moved[:, 1] + moved[:, 2]),
                -one * moved[:, 1],
                four * (moved[:, 4] + moved[:, 5]),
                five * moved[:, 5],
            ]
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the path as plain lists, fit for JSON.

        Returns
        -------
        dict
            What `from_dict` reads.
        """
        return {name: getattr(self, name).tolist() for name in self.__dataclass_fields__}

    @classmethod
    def from_dict(cls, stored: dict[str, Any]) -> "WearPath":
        """Return the path that `to_dict` wrote.

        Parameters
        ----------
        stored : dict
            What `to_dict` returned.

        Returns
        -------
        WearPath
            The same path.
        """
        return cls(
            np.array(stored["parameters"], dtype=float),
            np.array(stored["grader_keys"], dtype=np.int64),
            np.array(stored["grader_offsets"], dtype=float),
            *(
                np.array(stored[name], dtype=float) if name in stored else _no_doubt()
                for name in ("covariance", "coefficient_slope")  # none in the first fits of 0.3
            ),
        )
