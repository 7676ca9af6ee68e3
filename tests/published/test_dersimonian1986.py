"""[dersimonian1986] R. DerSimonian, N. Laird: random effects by the method of moments.

The worked example is the thirteen trials of BCG vaccine, [colditz1994]: counts and results from memory; they agree to all
four digits with one another, which a slip of memory would not.
"""

from __future__ import annotations

from functools import partial

import numpy as np

import outside
from evenburn.core.response.drift import random_effects

check = partial(
    outside.check, field="fitting", source="colditz1994", trust="from memory", why="as printed, four decimals"
)

# cases and the others, vaccinated, then not
TRIALS = np.array(
    [
        [4, 119, 11, 128],
        [6, 300, 29, 274],
        [3, 228, 11, 209],
        [62, 13536, 248, 12619],
        [33, 5036, 47, 5761],
        [180, 1361, 372, 1079],
        [8, 2537, 10, 619],
        [505, 87886, 499, 87892],
        [29, 7470, 45, 7232],
        [17, 1699, 65, 1600],
        [186, 50448, 141, 27197],
        [5, 2493, 3, 2338],
        [27, 16886, 29, 17825],
    ],
    dtype=np.float64,
)


def test_mean_its_error_and_the_spread_between_trials() -> None:
    a, b, c, d = TRIALS.T
    log_risk_ratio = np.log(a / (a + b) / (c / (c + d)))
    variance = 1.0 / a - 1.0 / (a + b) + 1.0 / c - 1.0 / (c + d)
    mean, sd, between = random_effects(log_risk_ratio, np.sqrt(variance))
    check("thirteen trials, mean of the log risk ratio", got=mean, expected=-0.7141, tolerance=5e-5)
    check("… its standard error", got=sd, expected=0.1787, tolerance=5e-5)
    check("… variance between trials", got=between**2, expected=0.3088, tolerance=5e-5)
