"""How the rise came, weighed by its age."""

from datetime import date, timedelta

import pytest


@pytest.mark.parametrize(
    ("age_d", "how"), [(6, 1.0), (7, 1.0), (8, 6 / 7), (10, 4 / 7), (13, 1 / 7), (14, 0.0), (40, 0.0)]
)
def test_a_young_rise_is_weighed_between_gradual_and_abrupt(scene, age_d, how):
    """abrupt_days 7, gradual_from 2: from 7 to 14 days. starved 0.5 to -2.5 bits, damaged -0.5 to 2."""
    began = date(2025, 6, 1) - timedelta(days=age_d)
    _, evidence = scene(x=0.5, ultrasound={"value": 8, "onset": "gradual", "onset_date": began})
    row = evidence[evidence["source"] == "onset"].iloc[0]
    assert row["deviation"] == pytest.approx(how)
    assert row["reason"] == ("recent" if how else "gradual")
    assert row["bits_starved"] == pytest.approx(0.5 - 3.0 * how, abs=1e-6)
    assert row["bits_damaged"] == pytest.approx(-0.5 + 2.5 * how, abs=1e-6)
