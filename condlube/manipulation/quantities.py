"""Quantities as numbers, in the order of the schema."""

from __future__ import annotations

from condlube.schema.words import QUANTITIES, SIGNALS

(ULTRASOUND, ACCELERATION, KURTOSIS, CREST_FACTOR, VELOCITY, TEMPERATURE,
 SPEED, CURRENT, POWER, LOAD, AMBIENT) = range(len(QUANTITIES))  # fmt: skip

FIRST_OPERATING = len(SIGNALS)  # from here on a quantity tells of the machine's operation
