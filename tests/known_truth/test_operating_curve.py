"""The operating curve of docs/methods/detection.md, section 4: made by ``pytest -m long -s`` of this file."""

import numpy as np
import pytest

ALL = ("ultrasound", "acceleration", "velocity", "temperature")
BEGIN, AFTER, COUNT = 45, 20, 30
NOISES = (0.5, 1.0, 1.5)


def first_calls(truth, size, length, noise, speed):
    """Share called, median nights from the onset to the first call, true rise then, share of first calls *grease*."""
    fleet = truth.Fleet(COUNT, BEGIN + length + AFTER, seed=100 * length + int(size), speed=speed)
    fleet.noise["ultrasound"] = noise
    fleet.rise["ultrasound"][:] = rise = truth.ramp(fleet.days, BEGIN, length, size)
    calls = truth.walk(fleet, truth.policy).calls[:, BEGIN + 1 :]
    away = calls != "hold"
    called, night = away.any(axis=1), away.argmax(axis=1)
    if not called.any():
        return 0.0, np.nan, np.nan, np.nan
    first = calls[np.arange(COUNT), night][called]
    return (
        called.mean(),
        np.median(night[called]) + 1,
        np.median(rise[BEGIN + 1 + night[called]]),
        np.mean(first == "grease"),
    )


@pytest.mark.long
@pytest.mark.parametrize("speed", ["fixed", "variable"])
def test_rises(truth, speed):
    """Size and length of the rise against noise: what of 8 dB and more is never called, and what is called in time."""
    print(f"\n{speed} speed | " + " | ".join(f"noise {noise} dB a night" for noise in NOISES))
    for size in (4.0, 8.0, 16.0):
        for length in (1, 3, 7, 14, 30, 60):
            told = [first_calls(truth, size, length, noise, speed) for noise in NOISES]
            cells = [
                f"{seen:.2f}, {nights:.0f} n, {level:.1f} dB, {grease:.2f}" for seen, nights, level, grease in told
            ]
            print(f"| {size:.0f} dB in {length} d | " + " | ".join(cells) + " |", flush=True)
            if size >= 8:
                assert told[0][0] >= 0.9
            if length <= 3 and size >= 8:
                assert told[0][3] <= 0.1


@pytest.mark.long
@pytest.mark.parametrize("speed", ["fixed", "two", "variable", "changes"])
@pytest.mark.parametrize("tags", [True, False])
def test_healthy(truth, speed, tags):
    """New matters per healthy bearing-year over noise and its correlation."""
    told = []
    for scale in (1.0, 2.0, 4.0):
        for correlation in (0.3, 0.6):
            fleet = truth.Fleet(24, 307, ALL, seed=31, speed=speed, correlation=correlation, tags=tags)
            fleet.noise = {q: scale * sd for q, sd in fleet.noise.items()}
            told.append(truth.matters(truth.walk(fleet, truth.policy).calls) / (24 * 300 / 365))
    print(
        f"\n| {speed} speed, {'tagged' if tags else 'no tags'} | " + " | ".join(f"{rate:.2f}" for rate in told) + " |"
    )
    assert told[0] <= 0.1
