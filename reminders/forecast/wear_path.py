"""The path that wear takes through the life of a coat, and what a grade says about that life.

A cumulative probit model (McCullagh 1980, J. R. Stat. Soc. B 42:109). With x the log of the age
over the life the wear is 3·exp(p·x), so that it reaches 3, the recoat limit, when the age is the
life. Whoever grades reads the wear with an offset and a noise of their own, and cuts it into grades
at steps.
"""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.grade_scale import CLIENT, CREW, STRANGER, GradeScale

RECOAT_WEAR = 3.0
MAX_LOG_WEAR = 4.0  # far beyond the worst grade
GRADER_OFFSET_SD = 0.35  # from grader to grader of the crew, in grades (judgement)
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
LOCAL_SLOPES = 7  # by how many numbers the chance of one grade moves


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
        return np.einsum("ij,ij->i", slope @ self.covariance, slope)

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

    @property
    def stranger_offset(self) -> float:
        """Mean offset of one of the crew of whom nothing is known.

        They are as likely to be each of the graders that are known as somebody else, of whom only
        the prior is.
        """
        return float(self.grader_offsets.sum() / (len(self.grader_offsets) + 1))

    @property
    def stranger_noise(self) -> float:
        """Standard deviation of what such a one grades around the path.

        Where nobody is named the noise of the crew holds already how they differ.
        """
        if not len(self.grader_offsets):
            return float(self.noises[0])
        squares = (self.grader_offsets**2).sum() + GRADER_OFFSET_SD**2
        apart = squares / (len(self.grader_offsets) + 1) - self.stranger_offset**2
        return float(np.sqrt(self.noises[0] ** 2 + apart))

    @cached_property
    def scale(self) -> GradeScale:
        """The chances of grades by what is read, for each kind of grader."""
        noises = np.append(self.noises, self.stranger_noise)
        return GradeScale(self.steps, np.exp(self.parameters[STEP_WIDTHS]), noises)

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
            In grades.
        """
        place = self.grader_places(grader)
        known = np.append(self.grader_offsets, self.stranger_offset)
        return np.where(by_client, self.parameters[CLIENT_OFFSET], known[place])

    def kinds(self, seen: GradesSeen) -> Integers:
        """Return the kind of each grader.

        Parameters
        ----------
        seen : GradesSeen
            The grades.

        Returns
        -------
        ndarray of int, shape (v,)
            `CREW`, `CLIENT` or `STRANGER`.
        """
        is_stranger = self.grader_places(seen.grader) < 0
        return np.where(seen.by_client, CLIENT, np.where(is_stranger, STRANGER, CREW))

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
        reading = self._readings(seen, self.wear(seen.is_film, x))
        return self.scale.chances(seen.grade, self.kinds(seen), reading)

    def log_chances(self, seen: GradesSeen, x: Floats) -> Floats:
        """Return the log chance of the grade that each visit gave.

        Parameters
        ----------
        seen : GradesSeen
            The grades.
        x : ndarray, shape (v, c)
            Logs of age over life.

        Returns
        -------
        ndarray, shape (v, c)
            Logs of `chances`.
        """
        reading = self._readings(seen, self.wear(seen.is_film, x))
        return self.scale.log_chances(seen.grade, self.kinds(seen), reading)

    def _readings(self, seen: GradesSeen, wear: Floats) -> Floats:
        # The wear as each grader reads it in the mean.
        return wear + self.offsets(seen.grader, seen.by_client)[:, None]

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
        return self.scale.worn_chances(CREW, self.wear(is_film, x))

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
        local = np.einsum("jvc,vc->vj", self.local_slopes(seen, x), weight)
        return self.summed_slopes(self.slope_columns(seen), local, np.arange(len(local) + 1))

    def local_slopes(self, seen: GradesSeen, x: Floats) -> Floats:
        """Return how the log chance of each grade moves with what it hangs on.

        Parameters
        ----------
        seen : GradesSeen
            The grades.
        x : ndarray, shape (v, c)
            Logs of age over life.

        Returns
        -------
        ndarray, shape (LOCAL_SLOPES, v, c)
            With the log of the exponent, of the four widths and of the noise, and with the offset.
        """
        wear = self.wear(seen.is_film, x)
        slopes = self.scale.slopes(seen.grade, self.kinds(seen), self._readings(seen, wear))
        exponent = self.exponents[seen.is_film.astype(np.int64)][:, None]
        moved = np.where(exponent * x < MAX_LOG_WEAR, exponent * x, 0.0)
        return np.concatenate([(slopes[-1] * wear * moved)[None], slopes])

    def slope_columns(self, seen: GradesSeen) -> NDArray[np.int32]:
        """Return what the numbers are that the local slopes go by.

        Parameters
        ----------
        seen : GradesSeen
            The grades.

        Returns
        -------
        ndarray of int, shape (v, 7)
            Places in `numbers`; behind those noise and offset of one of whom nothing is known.
        """
        size = len(self.numbers)
        is_stranger = self.kinds(seen) == STRANGER
        graders = len(self.parameters) + self.grader_places(seen.grader)
        offset = np.where(seen.by_client, CLIENT_OFFSET, graders)
        columns = np.empty((len(offset), LOCAL_SLOPES), dtype=np.int32)
        columns[:, 0] = EXPONENTS.start + seen.is_film
        columns[:, 1:5] = np.arange(STEP_WIDTHS.start, STEP_WIDTHS.stop)
        columns[:, 5] = np.where(is_stranger, size, NOISES.start + seen.by_client)
        columns[:, 6] = np.where(is_stranger, size + 1, offset)
        return columns

    def summed_slopes(self, columns: NDArray[np.int32], local: Floats, first: Integers) -> Floats:
        """Return the slopes by all parameters and offsets, summed over the visits of coats.

        Parameters
        ----------
        columns : ndarray of int, shape (v, 7)
            As `slope_columns` has them.
        local : ndarray, shape (v, 7)
            As `local_slopes` has them.
        first : ndarray of int, shape (n + 1,)
            The first visit of each of n coats, and v.

        Returns
        -------
        ndarray, shape (n, len(PATH_NAMES) + g)
            0 by what no grade hangs on.
        """
        shape = (len(first) - 1, len(self.numbers) + 2)
        entries = (local.ravel(), columns.ravel(), LOCAL_SLOPES * first)
        return csr_array(entries, shape=shape).toarray() @ self._stranger_slopes

    @cached_property
    def _stranger_slopes(self) -> Floats:
        # How all numbers, and noise and offset of a stranger, move with the numbers: mean and
        # spread of all offsets move with each of them.
        size, known = len(self.numbers), len(self.parameters)
        variance = self.stranger_noise**2
        found = np.zeros((size + 2, size))
        found[:size] = np.eye(size)
        found[size, NOISES.start] = self.noises[0] ** 2 / variance
        found[size, known:] = (self.grader_offsets - self.stranger_offset) / variance
        found[size + 1, known:] = 1.0
        found[size:, known:] /= len(self.grader_offsets) + 1
        return found

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
