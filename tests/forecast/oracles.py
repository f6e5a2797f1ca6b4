"""Published life data with what others found in them (counts and ages as facts, sources beside
each)."""

from dataclasses import dataclass

import numpy as np

from reminders.forecast.intervals import CensoredLives

INF = np.inf


def rows(
    lower: list[float], upper: list[float], weight: list[float] | None = None, x: object = None
) -> CensoredLives:
    n = len(lower)
    return CensoredLives(
        x=np.zeros((n, 0)) if x is None else np.asarray(x, dtype=float).reshape(n, -1),
        lower=np.asarray(lower, dtype=float),
        upper=np.asarray(upper, dtype=float),
        deck=np.arange(n),
        weight=None if weight is None else np.asarray(weight, dtype=float),
    )


def _wheels() -> CensoredLives:
    age = [4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46]
    seen = np.array([39, 53, 33, 73, 30, 39, 42, 13, 34, 40, 36])
    cracked = np.array([0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21])
    lower = [*age, *[0] * 11]
    upper = [*[INF] * 11, *age]
    weight = np.concatenate([seen - cracked, cracked])
    keep = weight > 0
    return rows(np.array(lower)[keep], np.array(upper)[keep], weight[keep])


def _table(text: str) -> CensoredLives:
    # "low high count" a line; "-" for no end.
    parts = [line.split() for line in text.strip().splitlines()]
    return rows(
        [float(p[0]) for p in parts],
        [INF if p[1] == "-" else float(p[1]) for p in parts],
        [float(p[2]) for p in parts],
    )


WHEELS = _wheels()
TUBES = _table("0 1 4\n1 2 5\n2 3 2\n1 - 99\n2 - 95\n3 - 95")
EXPONENTIAL = _table(
    "0 100 41\n100 300 44\n300 500 24\n500 700 32\n700 1000 29\n1000 2000 21\n2000 4000 9"
)
# lifelines' own tests, after ReliaSoft: grouped failures of 2,679 units
GROUPED = _table(
    "0.1 30 2\n30 60 5\n60 90 1\n90 120 9\n120 150 6\n150 180 6\n180 210 5\n210 240 2\n240 - 2645"
)
MICROPROCESSORS = _table(
    "0 6 6\n6 12 2\n24 48 2\n24 - 1\n48 168 1\n48 - 839\n168 500 1\n168 - 150\n500 1000 2\n500 -"
    " 149\n1000 2000 1\n1000 - 147\n2000 - 122"
)
PHOTODETECTOR = _table("2 2.5 1\n2.5 3 1\n3 3.5 2\n3.5 3.6 1\n3.6 3.7 1\n3.7 3.8 1\n3.8 - 21")
FIVE_FAILURES = _table("252 252 1\n315 315 1\n369 369 1\n403 403 1\n474 474 1\n500 - 15")

_OVARIAN = """
0,150,72.3315,1|0,150,74.4932,1|146,166,66.4658,2|421,,53.3644,1|421,421,50.3397,1
448,,56.4301,2|454,474,56.937,2
465,485,59.8548,2|477,,64.1753,1|553,573,55.1781,2|628,648,56.7562,2|744,,50.1096,1
769,,59.6301,2|770,,57.0521,1
803,,39.2712,1|855,,43.1233,2|1040,,38.8932,2|1106,,44.6,1|1129,,53.9068,1
1206,,44.2055,1|1227,,59.589,2
258,278,74.5041,2|319,339,43.137,1|343,363,63.2192,2|375,375,64.4247,1|377,,58.3096,1
"""


def _regression(text: str) -> CensoredLives:
    cells = [row.split(",") for row in text.replace("\n", "|").split("|") if row]
    upper = [float(c[1]) if c[1] else INF for c in cells]
    return rows([float(c[0]) for c in cells], upper, x=[[float(c[2]), float(c[3])] for c in cells])


OVARIAN = _regression(_OVARIAN)


def _motorette() -> CensoredLives:
    by_heat = {
        170: ([1764, 2772, 3444, 3542, 3780, 4860, 5196], 5448, 3),
        190: ([408, 408, 1344, 1344, 1440], 1680, 5),
        220: ([408, 408, 504, 504, 504], 528, 5),
    }
    lower = []
    upper = []
    x = []
    for celsius, (failed, end, running) in by_heat.items():
        lower += failed + [end] * running
        upper += failed + [INF] * running
        x += [1000 / (273.2 + celsius)] * (len(failed) + running)
    return rows(lower, upper, x=x)


MOTORETTE = _motorette()


def _bearings() -> CensoredLives:
    # Meeker & Escobar (1998) table C.5: hours of 1,703 bearing cages; six failed, the others were
    # still running.
    running = (
        "50 288|150 148|250 124|350 111|450 106|550 99|650 110|750 114|850 119|950 127|1050"
        " 123|1150 93"
    )
    running += "|1250 47|1350 41|1450 27|1550 11|1650 6|1850 1|2050 2"
    failed = [230, 334, 423, 990, 1009, 1510]
    ages, counts = zip(*[map(float, pair.split()) for pair in running.split("|")], strict=True)
    return rows([*failed, *ages], [*failed, *[INF] * len(ages)], [*[1] * 6, *counts])


BEARINGS = _bearings()
RAIL = [55, 53, 54, 26, 37, 32, 78, 91, 85, 92, 100, 96, 49, 51, 50, 80, 85, 83]


@dataclass(frozen=True)
class Published:
    """A data set with its log-normal maximum:
    coefficients, sigma, log-likelihood, standard errors (log sigma last)."""

    name: str
    lives: CensoredLives
    beta: tuple[float, ...]
    sigma: float
    log_likelihood: float
    errors: tuple[float, ...] = ()


# Parameters to 1e-4, log-likelihood to 1e-5 (relative for the flat microprocessor set).
PUBLISHED = [
    # R survival tests/r_sas.Rout.save, the SAS example on Nelson (1982) p. 407: 3.6999 (.0708),
    # -.3287 (.1232), -190.7
    Published("turbine wheels", WHEELS, (3.699908,), 0.719886, -190.731549, (0.07083, 0.12318)),
    # Meeker & Escobar (1998) ch. 1 data; maximum by scipy and surpyval
    Published("heat exchanger tubes", TUBES, (3.737567,), 1.696286, -54.350468),
    # Meeker & Escobar example 7.1 data; log-normal maximum by scipy and surpyval
    Published("exponential intervals", EXPONENTIAL, (5.77931744,), 1.20283659, -387.884694),
    # Nelson (1990), SAS LIFEREG data; maximum by scipy and surpyval (lifelines stops short at
    # -104.248)
    Published("microprocessors", MICROPROCESSORS, (26.613123,), 9.301179, -104.120828),
    # SMRD photodetector data; maximum by surpyval
    Published("photodetector", PHOTODETECTOR, (1.547733,), 0.310247, -28.610741),
    # R survival tests/testreg.Rout.save: 11.1548 (1.4347) -.0855 (.0238) .2066 (.3828) -.2297
    # (.2508), -56.0
    Published(
        "R interval regression",
        OVARIAN,
        (11.154850, -0.085531, 0.206565),
        0.794776,
        -56.007351,
        (1.434742, 0.023770, 0.382783, 0.250785),
    ),
    # SAS LIFEREG example 1 by R survreg: -10.471 (2.772) 8.322 (1.284) -.504 (.183), -145.9
    Published(
        "motorette",
        MOTORETTE,
        (-10.470562, 8.322083),
        np.exp(-0.504124),
        -145.867234,
        (2.771921, 1.284124, 0.183315),
    ),
]
