"""A bearing that comes back dry within days of each greasing is named, also while the last one still holds."""

import numpy as np


def dry_again(sim, greasings, returns_in):
    """Ultrasound that is up 9 dB before each greasing, falls to normal and is up again after so many days."""
    level = 30 + sim.noise(130, 0.3)
    level[greasings[0] - 8 : greasings[0]] += 9
    for day, end in zip(greasings, [*greasings[1:], 130], strict=True):
        level[min(day + returns_in, end) : end] += 9
    events = [{"time": sim.at(day), "kind": "relubrication", "bearing_id": "B00"} for day in greasings]
    return sim.plant(level, events=events)


def test_short_cycles_are_named(sim):
    plant = dry_again(sim, (60, 72, 84, 96), 7)
    rows = plant.compare(60, 129).set_index("night")
    told = [(r.reason, r.response) for r in rows.itertuples()]
    assert told[5] == ("", "held")
    assert told[10][1] == told[22][1] == "returned"
    assert told[88 - 60] == told[100 - 60] == ("short_cycles", "returned")  # the last greasing holds so far
    assert told[106 - 60] == ("short_cycles", "returned")


def test_greasings_that_hold_are_no_short_cycle(sim):
    rows = dry_again(sim, (60, 100), 100).compare(60, 129)
    assert set(rows["reason"]) == {""}
    assert rows["response"].to_list()[30] == "held"
    once = dry_again(sim, (60, 72), 7).compare(72, 82)
    assert "short_cycles" not in set(once["reason"])
    assert np.isfinite(once["deviation"]).all()
