"""The default policy, and one bearing-night weighed through the real functions."""

from importlib.resources import files

import numpy as np
import pytest

from condlube.assessment.rules import CONTEXT
from condlube.assessment.sources import POSITION, SOURCES
from condlube.policy.parse import parse_policy

CLASSES = {"onset": ("gradual", "abrupt"), "response": ("held", "returned", "none", "worse")}


@pytest.fixture(scope="session")
def policy():
    return parse_policy(files("condlube.policy").joinpath("default.toml").read_text("utf-8"), "default.toml")


@pytest.fixture(scope="session")
def context_of(policy):
    """Contexts [nights, columns] long after the last greasing, unless told otherwise."""

    def made(x, **columns):
        x = np.atleast_1d(np.asarray(x, dtype=np.float64))
        usual = {
            "x": x, "x_since": x, "running_h": 1e6, "interval_h": 4000.0, "days": 1e6,
            "overfilled_added": policy.prior.overfilled_normal_dose, "starved_factor": 1.0,
            "overfilled_factor": 1.0, "supply_factor": 1.0,
            "damaged": policy.prior.damaged, "machine_fault": policy.prior.machine_fault,
            "instrument_fault": policy.prior.instrument_fault,
        }  # fmt: skip
        told = {**usual, **columns}
        return np.stack([np.broadcast_to(told[name], x.shape) for name in CONTEXT], axis=1).astype(float)

    return made


@pytest.fixture(scope="session")
def values_of():
    """Values [nights, sources] of evidence given by name; a class by its word."""

    def made(n, evidence):
        values = np.full((n, len(SOURCES)), np.nan)
        for name, value in evidence.items():
            values[:, POSITION[name]] = CLASSES[name].index(value) if isinstance(value, str) else value
        return values

    return made
