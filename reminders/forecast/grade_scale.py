"""The chance of a grade by the wear that was read.

A reading is cut into grades at steps, with a noise and a chance of slips that depend on what kind
of person graded.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.lognormal import LOG_SQRT_2PI

GRADE_COUNT = 6
# Kinds of grader: one of the crew with an offset of their own, a client, and one of the crew of
# whom nothing is known.
CREW, CLIENT, STRANGER = range(3)
KIND_COUNT = 3
# Chance that a grade says nothing of the wear: another deck, a slip of the pen (judgement). By
# kind of grader.
STRAY_GRADE_CHANCES = np.array([0.02, 0.1, 0.02])


@dataclass(frozen=True, eq=False)
class GradeScale:
    """Where grades begin and how far those who grade scatter.

    Parameters
    ----------
    steps : ndarray, shape (5,)
        Readings at which the grades from 1 to 5 begin.
    widths : ndarray, shape (4,)
        From grade 2 to 3, from 1 to 2, from 3 to 4 and from 4 to 5.
    noises : ndarray, shape (KIND_COUNT,)
        Standard deviation of a grade, by kind of grader.
    """

    steps: Floats
    widths: Floats
    noises: Floats

    def chances(self, grade: Integers, kind: Integers, reading: Floats) -> Floats:
        """Return the chance of each grade.

        Parameters
        ----------
        grade, kind : ndarray of int, shape (v,)
            What was given, and by what kind of grader.
        reading : ndarray, shape (v, c)
            The wear with the offset of the grader.

        Returns
        -------
        ndarray, shape (v, c)
            Never nought: a grade in some may say nothing of the wear.
        """
        lower, upper = self._standardised_ends(grade, kind, reading)
        stray = STRAY_GRADE_CHANCES[kind][:, None]
        return (1 - stray) * (ndtr(lower) - ndtr(upper)) + stray / GRADE_COUNT

    def log_chances(self, grade: Integers, kind: Integers, reading: Floats) -> Floats:
        """Return the log chance of each grade.

        Parameters
        ----------
        grade, kind, reading : ndarray
            As for `chances`.

        Returns
        -------
        ndarray, shape (v, c)
            Logs of `chances`.
        """
        return np.asarray(np.log(self.chances(grade, kind, reading)))

    def worn_chances(self, kind: int, reading: Floats) -> Floats:
        """Return the chance of a grade of 3 or more.

        Parameters
        ----------
        kind : int
            Kind of grader.
        reading : ndarray
            The wear with the offset of the grader.

        Returns
        -------
        ndarray, of the shape of `reading`
            Chances.
        """
        stray = STRAY_GRADE_CHANCES[kind]
        return (1 - stray) * ndtr((reading - self.steps[2]) / self.noises[kind]) + stray / 2

    def slopes(self, grade: Integers, kind: Integers, reading: Floats) -> Floats:
        """Return how the log chance of each grade moves.

        Parameters
        ----------
        grade, kind, reading : ndarray
            As for `chances`.

        Returns
        -------
        ndarray, shape (6, v, c)
            With the logs of the four widths and of the noise, and with the reading.
        """
        ends = self._standardised_ends(grade, kind, reading)
        stray = STRAY_GRADE_CHANCES[kind][:, None]
        share = (1 - stray) / self.chances(grade, kind, reading)
        low, high = (share * np.exp(-(end**2) / 2 - LOG_SQRT_2PI) for end in ends)
        finite = [np.where(np.isfinite(end), end, 0.0) for end in ends]
        by_noise = finite[1] * high - finite[0] * low
        noise = self.noises[kind][:, None]
        low, high = low / noise, high / noise
        return np.stack([*self._width_slopes(grade, low, high), by_noise, low - high])

    def _standardised_ends(
        self, grade: Integers, kind: Integers, reading: Floats
    ) -> tuple[Floats, Floats]:
        # How far each reading lies above the lower and above the upper step of the grade.
        steps = np.concatenate([[-np.inf], self.steps, [np.inf]])
        lower, upper = (steps[grade + more][:, None] for more in (0, 1))
        noise = self.noises[kind][:, None]
        return (reading - lower) / noise, (reading - upper) / noise

    def _width_slopes(self, grade: Integers, low: Floats, high: Floats) -> list[Floats]:
        # Each width moves its own step and those beyond it, away from 3.
        def moved(first: int, last: int) -> Floats:
            begins = (grade >= first) & (grade <= last)
            ends = (grade + 1 >= first) & (grade + 1 <= last)
            return np.asarray(ends[:, None] * high - begins[:, None] * low)

        two, one, four, five = self.widths
        return [-two * moved(1, 2), -one * moved(1, 1), four * moved(4, 5), five * moved(5, 5)]
