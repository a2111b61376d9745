"""Quantities as numbers, in the order of the schema."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.schema.words import QUANTITIES, SIGNALS

(ULTRASOUND, ACCELERATION, KURTOSIS, CREST_FACTOR, VELOCITY, TEMPERATURE,
 SPEED, CURRENT, POWER, LOAD, AMBIENT) = range(len(QUANTITIES))  # fmt: skip

FIRST_OPERATING = len(SIGNALS)  # from here on a quantity tells of the machine's operation
SENSING = (ULTRASOUND, ACCELERATION, VELOCITY)  # signals whose level shows standstill


def is_amplitude(quantity: Floats | Ints) -> Bools:
    """Whether levels of a quantity compare as ratios and zero is no level: signals that are neither dB nor °C."""
    return np.asarray((quantity != ULTRASOUND) & (quantity != TEMPERATURE) & (quantity < FIRST_OPERATING))
