"""Grams and strokes; 0.005 D B from the side (The Tribology Handbook, 2nd ed., p. A20.5)."""

import pandas as pd
import pytest

from condlube.advisory.dose import dose
from condlube.advisory.job import job
from condlube.assessment.greasings import doses


@pytest.mark.parametrize(
    ("bearing", "grams", "strokes"),
    [
        ({}, 23.1, None),  # no gun on record
        ({"gun_g_per_stroke": 1.4}, 23.1, 17),  # 16.5, half up
        ({"designation": "6202", "gun_g_per_stroke": 1.4}, 1.925, 1),  # 1.4 g
        ({"designation": "608", "gun_g_per_stroke": 1.1}, 0.77, 1),  # 1.43 doses
        ({"designation": "608", "gun_g_per_stroke": 2.2}, 0.77, None),  # 2.9 doses: heavy from 1.5 on
        ({"gun_g_per_stroke": 1.4, "supply": "central_system"}, 23.1, None),
        ({"gun_g_per_stroke": 1.4, "manual_quantity_g": 60}, 60.0, 43),  # the manual's goes before the formula
    ],
)
def test_dose(bearing, grams, strokes, register_of, policy):
    bearings, _, _ = register_of({"bearing_id": "B", "designation": "6313", "speed_rpm": 1480, **bearing})
    given = dose(bearings, pd.DataFrame({"dose_g": doses(bearings)}), pd.Series([False]).to_numpy(), policy).iloc[0]
    assert given["grease_g"] == pytest.approx(grams)
    assert given["strokes"] is pd.NA if strokes is None else given["strokes"] == strokes


def test_no_dose_for_a_bearing_that_waits_for_its_survey(scene, register_of, policy):
    """Its turn is an inspection: grams beside it would be an invitation."""
    bearing = {"bearing_id": "B", "designation": "6313", "speed_rpm": 1480, "gun_g_per_stroke": 1.4}
    own = register_of(bearing)[0].iloc[0]
    decision, evidence = scene(x=0.9, days=180)
    rows = evidence.to_dict("records")
    assert job(decision, own, rows, policy.dose).grease_g == pytest.approx(23.1)
    waits = decision.to_dict() | {"guards": "survey_waits"}
    assert job(waits, own, rows, policy.dose).grease_g is None
