"""The arrays that the cores work on, and records of arrays with one row a thing."""

from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]


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
