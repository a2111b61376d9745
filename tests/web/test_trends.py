"""Trends: a sample of the older nights tells the same figures as all of them, and what a run saw is read once."""

from datetime import timedelta
from itertools import pairwise

import pandas as pd
import pytest
from review_site import DRY, LAST, MORNING, fixed_clock
from starlette.testclient import TestClient

from condlube.operations import trends as module
from condlube.operations.desk import Desk
from condlube.operations.past import events_of
from condlube.operations.trends import trends
from condlube.schema.arrow import rows_to_table
from condlube.web.app import create_app
from condlube.web.serve import warm_up


def found(site, whole=False, night=None):
    desk = Desk(site)
    sight = desk.sight(night)
    bearing = sight.bearing(DRY)
    return trends(sight, desk.policy(sight.run["policy_digest"]), bearing, events_of(sight.snapshot, bearing), whole)


def test_a_sample_of_the_older_nights_has_the_figures_of_the_whole(decided, monkeypatch):
    monkeypatch.setattr(module, "EVERY_DAYS", 5)
    (whole, all_answers), (sample, answers) = (found(decided, whole) for whole in (True, False))
    assert answers == all_answers
    for full, few in zip(whole, sample, strict=True):
        assert len(few.nights) < len(full.nights) / 2
        assert few.nights[-5:] == full.nights[-5:]
        at = [full.nights.index(night) for night in few.nights]
        for name in ("observed", "expected", "low", "high", "statuses", "reasons"):
            assert getattr(few, name) == tuple(getattr(full, name)[k] for k in at)


def test_every_night_is_there_unless_a_sample_is_asked_for(decided):
    whole, _ = found(decided, whole=True)
    nights = whole[0].nights
    assert [b - a for a, b in pairwise(nights)] == [timedelta(days=1)] * (len(nights) - 1)
    assert nights[-1] == LAST


@pytest.mark.parametrize("spike", [40.0, 20.0])
def test_a_night_that_stands_out_is_shown(spike):
    days = pd.date_range("2026-01-01", periods=200)
    levels = [30.0 + 0.2 * (k % 3) for k in range(200)]
    levels[61] = spike
    summaries = pd.DataFrame({"point_id": "a", "date": days, "cell": 0, "median": levels})
    nights = [day.date() for day in days]
    shown = module._shown(nights, summaries.assign(date=nights), [])
    assert nights[61] in shown
    assert nights[62] in shown
    assert len(shown) == module.EVERY_DAYS + -(-(200 - module.EVERY_DAYS) // module.STEP_DAYS) + 2 - sum(
        (199 - k - module.EVERY_DAYS) % module.STEP_DAYS == 0 for k in (61, 62)
    )


def test_what_a_run_saw_is_read_once_and_an_event_that_it_saw_later_is_another_sight(decided, monkeypatch):
    desk = Desk(decided)
    sight = desk.sight()
    bearing, policy = sight.bearing(DRY), desk.policy(sight.run["policy_digest"])
    events = events_of(sight.snapshot, bearing)
    first = trends(sight, policy, bearing, events)
    calls = []
    read = module._read
    monkeypatch.setattr(module, "_read", lambda *given: calls.append(given) or read(*given))
    assert trends(sight, policy, bearing, events) is first
    assert not calls
    assert trends(sight, policy, bearing, events[:-1]) != first
    assert len(calls) == 1


def test_few_bearings_are_kept(decided, monkeypatch):
    monkeypatch.setattr(module, "MOST_KEPT", 2)
    desk = Desk(decided)
    sight = desk.sight()
    for bearing in list(sight.bearings.values())[:4]:
        trends(sight, desk.policy(sight.run["policy_digest"]), bearing, [])
    assert len(sight.kept["trends"]) == 2


def test_two_years_of_decided_nights_keep_the_page_light(site):
    """Calls that turn every week for two years, on the chart and in the history."""
    desk = Desk(site)
    sight = desk.sight()
    row, run = sight.decisions[DRY], sight.run
    nights = [sight.nights[0] - timedelta(days=k) for k in range(700, 0, -1)]
    calls = [("hold", "grease", "hold", "inspect")[k // 7 % 4] for k in range(len(nights))]
    decisions = [
        row | {"run_id": f"run{k}", "night": night, "call": call, "reason": call}
        for k, (night, call) in enumerate(zip(nights, calls, strict=True))
    ]
    runs = [run | {"run_id": f"run{k}", "night": night, "commit_id": None} for k, night in enumerate(nights)]
    with desk.store.writer() as writer:
        writer.append("decisions", rows_to_table("decisions", decisions))
        writer.commit("older nights", MORNING, {"runs": runs})
    client = TestClient(create_app(site, clock=fixed_clock()), base_url="http://127.0.0.1")
    page = client.get("/bearing", params={"id": DRY})
    assert page.status_code == 200
    assert page.text.count("<summary>Earlier decisions (703 nights") == 1
    assert page.text.count('class="call inspect"') > 20
    assert len(page.content) < 200_000


def test_what_is_asked_for_first_is_ready_before(site, monkeypatch):
    app = create_app(site, clock=fixed_clock())
    warm_up(app.state.frame)
    sight = app.state.frame.desk.sight()
    assert set(sight.kept["told"]) == set(sight.decisions)
    read = []
    monkeypatch.setattr(module, "_read", lambda *given: read.append(given))
    client = TestClient(app, base_url="http://127.0.0.1")
    assert client.get("/bearing", params={"id": DRY}).status_code == 200
    assert read == []


def test_what_was_asked_for_last_is_kept(decided):
    sight = Desk(decided).sight()
    made = []

    def ask(key):
        return sight.keep("words", key, 2, lambda: made.append(key) or key.upper())

    assert [ask(key) for key in ("a", "b", "a", "c", "a", "b")] == ["A", "B", "A", "C", "A", "B"]
    assert made == ["a", "b", "c", "b"]
