"""Level of each night against a frozen reference: cells compared at like operating conditions, then averaged."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.expected import OUTSIDE, SIZE, UNKNOWN, predict
from condlube.manipulation.kernel import Floats, Ints, kernel
from condlube.manipulation.robust import Bools

COMPARED = 0  # other codes: OUTSIDE, UNKNOWN (of expected), UNCERTAIN
UNCERTAIN = 4


@kernel
def night_levels(
    reference: Ints, lo: Ints, hi: Ints, day: Ints, sound: Bools, level: Floats, operating: Floats, weight: Floats,
    within: Floats, n: Ints, coefficients: Floats, covariance: Floats, knots: Floats, low: Floats, high: Floats,
    spread: Floats, margins: Floats, most_uncertain: float,
) -> tuple[Ints, Ints, Floats, Floats, Floats, Ints, Ints]:  # fmt: skip
    """Nights of many tracks; track t compares cells ``lo[t]`` to ``hi[t]`` with reference ``reference[t]``.

    Returns per night with sound cells: track, day, residual, its measuring and model variance, observed level, code
    (COMPARED, OUTSIDE, UNKNOWN or UNCERTAIN) and number of readings. Cells outside the operating range seen count only
    where a night has no other, and then the night is not compared.
    """
    most = 0
    for t in range(lo.size):
        most += hi[t] - lo[t]
    track = np.empty(most, dtype=np.int64)
    date = np.empty(most, dtype=np.int64)
    residual = np.empty(most)
    variance = np.empty(most)
    observed = np.empty(most)
    code = np.empty(most, dtype=np.int64)
    readings = np.empty(most, dtype=np.int64)
    row = np.empty(SIZE)
    count = 0
    for t in range(lo.size):
        r = reference[t]
        i = lo[t]
        while i < hi[t]:
            j = i
            mass = 0.0
            total = 0.0
            model = 0.0
            noise = 0.0
            seen = 0.0
            taken = 0
            worst = UNKNOWN
            while j < hi[t] and day[j] == day[i]:
                if sound[j]:
                    expected, var, place = predict(
                        coefficients[r], covariance[r], knots[r], low[r], high[r], operating[j], margins[t], row
                    )
                    place = COMPARED if place < OUTSIDE else place
                    if place < worst or mass == 0.0:
                        mass = total = model = noise = seen = 0.0
                        taken = 0
                        worst = place
                    if place == worst:
                        w = max(weight[j], 1e-9)
                        mass += w
                        total += w * (level[j] - expected)
                        model += w * var
                        noise += w * w * within[j] ** 2 / max(n[j], 1)
                        seen += w * level[j]
                        taken += n[j]
                j += 1
            if mass > 0.0:
                track[count] = t
                date[count] = day[i]
                residual[count] = total / mass
                variance[count] = model / mass + noise / mass**2
                observed[count] = seen / mass
                uncertain = np.sqrt(model / mass) > most_uncertain * spread[r]
                code[count] = UNCERTAIN if worst == COMPARED and uncertain else worst
                readings[count] = taken
                count += 1
            i = j
    return (
        track[:count], date[:count], residual[:count], variance[:count], observed[:count], code[:count],
        readings[:count],
    )  # fmt: skip
