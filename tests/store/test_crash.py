"""Whatever kills a writer, and wherever: the old state stays readable and the same work again gives the same tables."""

from __future__ import annotations

import random
import runpy
import shutil
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest

from condlube.store.store import Store

SCRIPT = Path(__file__).with_name("crashing.py")
crashing = SimpleNamespace(**runpy.run_path(str(SCRIPT)))
# The states that readers may see: no store yet, the empty store, the file, the night.
STATES = [(0, 0, 0), (0, 0, 1), (60, 0, 2), (60, 50, 3)]


class Died(BaseException):
    """Stands for the end of the process: nothing catches it."""


def die():
    raise Died


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch):
    """Power cuts are not played here: what a process has written stays written."""
    monkeypatch.setattr("os.fsync", lambda handle: None)


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """The folder of a store that has been created, and the number of points that this passed."""
    folder = tmp_path_factory.mktemp("empty") / "store"
    points = crashing.Points(0, die)
    with dying(points), Store.open(folder).writer():
        pass
    return folder, points.passed


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """What the work gives, and the number of points at which it can die."""
    store = Store.open(tmp_path_factory.mktemp("undisturbed") / "store")
    points = crashing.Points(0, die)
    with dying(points):
        crashing.work(store)
    return crashing.content(store), points.passed


@contextmanager
def dying(points):
    with pytest.MonkeyPatch.context() as patch:
        for place in points.places():
            patch.setattr(*place)
        yield


def seen(store):
    """Readings, decisions and commits that a reader sees."""
    if not store.exists():
        return (0, 0, 0)
    snapshot = store.snapshot()
    counts = snapshot.read("readings", ["value"]).num_rows, snapshot.read("decisions", ["call"]).num_rows
    assert snapshot.read("evidence", ["ordinal"]).num_rows == 3 * counts[1]
    assert len(snapshot.ledger_rows("runs")) == (counts[1] > 0)
    assert len(snapshot.ledger_rows("ingests")) == counts[0] / 60
    return (*counts, snapshot.commit_id)


def test_the_work_is_done_once(tmp_path, undisturbed):
    store = Store.open(tmp_path / "store")
    crashing.work(store)
    before = store.snapshot().versions
    crashing.work(store)
    assert store.snapshot().versions == before
    assert seen(store) == STATES[-1]
    assert crashing.content(store) == undisturbed[0]


def test_dying_at_every_point_of_the_creation(tmp_path, undisturbed, empty):
    for at in range(1, empty[1] + 1):
        store = Store.open(tmp_path / f"store{at}")
        with dying(crashing.Points(at, die)), pytest.raises(Died), store.writer():
            pass
        assert seen(store) in STATES[:2], at
    crashing.work(store)
    assert crashing.content(store) == undisturbed[0]


def test_dying_at_every_point_of_the_work(tmp_path, undisturbed, empty):
    expected, count = undisturbed
    assert count - empty[1] > 30
    for at in range(1, count - empty[1] + 1):
        store = Store.open(shutil.copytree(empty[0], tmp_path / f"store{at}"))
        with dying(crashing.Points(at, die)), pytest.raises(Died):
            crashing.work(store)
        assert seen(store) in STATES[1:], at
        crashing.work(store)
        assert crashing.content(store) == expected, at


def test_dying_again_while_healing(tmp_path, undisturbed):
    """Every rerun dies one point later than the one before, until one gets through."""
    expected, _ = undisturbed
    store = Store.open(tmp_path / "store")
    for at in range(1, 500):
        try:
            with dying(crashing.Points(at, die)):
                crashing.work(store)
            break
        except Died:
            assert seen(store) in STATES
    assert crashing.content(store) == expected


def run(folder, at=0):
    return subprocess.Popen([sys.executable, str(SCRIPT), str(folder), str(at)], stdout=subprocess.PIPE, text=True)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_a_process_killed_at_a_point(tmp_path, undisturbed, share):
    expected, count = undisturbed
    with run(tmp_path / "store", round(share * count)) as process:
        assert process.wait(60) == -9
    store = Store.open(tmp_path / "store")
    assert seen(store) in STATES
    crashing.work(store)
    assert crashing.content(store) == expected


CREATING, WHOLE, NIGHT = "creating", "whole", "night"


@pytest.fixture(scope="module")
def length_s(tmp_path_factory, empty):
    """How long it takes as a process, here and now: the work from nothing, the work on a store that is there, and the
    night of that work alone."""
    lengths = {part: timed(tmp_path_factory.mktemp("length") / "store", empty[0], part) for part in (CREATING, WHOLE)}
    return {part: whole for part, (whole, _) in lengths.items()} | {NIGHT: lengths[WHOLE][1]}


def timed(folder, empty, part):
    """Seconds of the work, and of what follows its first commit."""
    begin(folder, empty, part)
    with run(folder) as process:
        moments = {process.stdout.readline().strip(): time.monotonic()}
        for line in process.stdout:
            moments.setdefault(line.strip(), time.monotonic())
    return moments["ended"] - moments["begun"], moments["ended"] - moments["committed"]


def begin(folder, empty, part):
    """A store to work on, but for the work that creates it."""
    if part != CREATING:
        shutil.copytree(empty, folder)


def killed_at_random(folder, undisturbed, empty, part, length_s, seed):
    """Kill the work at a moment between the begin and the end of its part, and give the state that was left.

    A moment after the end is no kill inside the work: the next one is drawn from the first half of the last.
    """
    draw, longest = random.Random(seed), length_s[part]
    while True:
        begin(folder, empty, part)
        with run(folder) as process:
            while process.stdout.readline() != ("committed\n" if part == NIGHT else "begun\n"):
                assert process.poll() is None
            moment = draw.uniform(0, longest)
            time.sleep(moment)
            process.kill()
            ended = "ended\n" in process.stdout.read()
        if not ended:
            break
        longest = moment / 2
        shutil.rmtree(folder)
    assert process.returncode == -9
    store = Store.open(folder)
    state = seen(store)
    assert state in {CREATING: STATES, WHOLE: STATES[1:], NIGHT: STATES[2:]}[part], seed
    crashing.work(store)
    assert crashing.content(store) == undisturbed[0], seed
    return state


@pytest.mark.parametrize("part", [CREATING, WHOLE, NIGHT])
def test_a_process_killed_at_a_random_moment(tmp_path, undisturbed, empty, length_s, part):
    killed_at_random(tmp_path / "store", undisturbed, empty[0], part, length_s, 0)


@pytest.mark.long
def test_fifty_processes_killed_at_random_moments(tmp_path, undisturbed, empty, length_s):
    """Ten while the store is created, twenty in the work on one that is there, twenty in its night."""
    states = Counter()
    for k, part in enumerate([CREATING] * 10 + [WHOLE] * 20 + [NIGHT] * 20):
        states[killed_at_random(tmp_path / f"store{k}", undisturbed, empty[0], part, length_s, 1000 + k)] += 1
    print(f"state left (readings, decisions, commits) and kills: {dict(states)}")
    assert states.total() == 50
    assert min(states[state] for state in STATES[:3]) > 2, "kills in every state that has work to come"


def test_readers_never_see_half_a_commit(tmp_path):
    store = Store.open(tmp_path / "store")
    stop, states = threading.Event(), []

    def look():
        while not stop.is_set():
            states.append(seen(store))

    reader = threading.Thread(target=look)
    reader.start()
    crashing.work(store)
    stop.set()
    reader.join()
    assert set(states) <= set(STATES)
    assert states == sorted(states)
