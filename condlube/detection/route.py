"""Route readings: one value a month. A raised one asks for a second before it counts; a very large one does not."""

from __future__ import annotations

from condlube.manipulation.kernel import Floats, Ints
from condlube.schema.words import SECOND_READING


def second_reading(
    residuals: Floats, days: Ints, night: int, raised: float, large: float, second_days: int, stale_days: int
) -> str:
    """Reason for which the newest route reading does not count yet; empty if it does.

    ``residuals`` and ``days`` are the readings so far, the newest last, on the scale of comparison. A reading under
    ``raised`` counts, so does one over ``large``, and one that follows another raised reading within ``stale_days``.
    """
    size = abs(residuals[-1])
    if size < raised or size >= large:
        return ""
    if len(residuals) > 1 and days[-1] - days[-2] <= stale_days:
        same_side = (residuals[-1] > 0) == (residuals[-2] > 0)
        if same_side and abs(residuals[-2]) >= raised:
            return ""
    return SECOND_READING if night - days[-1] <= second_days else "second_reading_overdue"
