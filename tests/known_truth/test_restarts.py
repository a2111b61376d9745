"""Machines that come back from every standstill with a slightly other level: no fault; what goes on growing is one."""

import numpy as np
import pytest

DB = np.log(10) / 20
"""One dB on the scale of velocity."""


def restarted(truth, quantities, bearings, days, seed, sd_db=1.0):
    """Machines of one bearing, without operating tags, stopped for a day or two about every 25 days; after each stop
    all signals stand at another level, drawn with ``sd_db``."""
    fleet = truth.Fleet(bearings, days, quantities, seed=seed, tags=False, per_machine=1)
    random = np.random.default_rng(seed)
    for b in range(bearings):
        first = 0
        while first < days:
            last = first + int(random.integers(15, 35))
            for q in quantities:
                fleet.rise[q][b, first:last] += random.normal(0, sd_db) * (DB if q == "velocity" else 1.0)
            first = last + int(random.integers(1, 3))
            fleet.cell[b, last:first] = -1
    return fleet


@pytest.mark.parametrize(("quantities", "most"), [(("velocity",), 3), (("acceleration", "velocity"), 0)])
def test_a_level_that_differs_from_restart_to_restart_is_no_matter(truth, quantities, most):
    fleet = restarted(truth, quantities, bearings=20, days=300, seed=5)
    walked = truth.walk(fleet, truth.policy)
    assert truth.matters(walked.calls) <= most  # in 16 bearing-years; it was 17 and 2


@pytest.mark.parametrize("quantities", [("velocity",), ("acceleration", "velocity")])
def test_what_goes_on_growing_is_inspected_well_before_its_end(truth, quantities):
    days, grows = 250, 40
    fleet = restarted(truth, quantities, bearings=20, days=days, seed=6)
    for q in quantities:
        fleet.rise[q] += truth.ramp(days, days - grows, grows, 11.0) * (DB if q == "velocity" else 1.2)
    calls = truth.walk(fleet, truth.policy).calls[:, days - grows :]
    assert (calls != "grease").all()
    inspected = calls == "inspect"
    assert inspected[:, :-5].any(axis=1).all()


def test_a_velocity_that_comes_back_from_a_fall_does_not_grow(truth):
    """A night read while the machine ran down or up lies far under the level; the next is back at it, or a bit over."""
    fleet = truth.Fleet(20, 90, ("velocity",), seed=7, tags=False, per_machine=1)
    fleet.rise["velocity"][:, 60] -= 3.0
    fleet.rise["velocity"][:, 61:] += 0.22
    walked = truth.walk(fleet, truth.policy)
    assert (walked.of("velocity", "growth")[:, 61:64] < 6.0).all()  # it was up to 29
