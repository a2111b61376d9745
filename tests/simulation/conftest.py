from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from condlube.operations.demo import description, read_plant
from condlube.simulation.plant import Plant
from condlube.simulation.scenario import History, simulate


@pytest.fixture(scope="session")
def demo_description() -> Path:
    return description()


@pytest.fixture(scope="session")
def demo_plant(demo_description: Path) -> Plant:
    return read_plant(demo_description)


@pytest.fixture(scope="session")
def demo_history(demo_plant: Plant) -> History:
    return simulate(demo_plant, np.random.default_rng(demo_plant.settings["seed"]))
