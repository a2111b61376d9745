"""The description of a plant to simulate: the register that the engine reads, and what only the simulation knows."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from condlube.errors import ConfigurationError, Fault
from condlube.register.model import Register, Text
from condlube.simulation import faults, instruments
from condlube.simulation.operating import PROFILES


@dataclass(frozen=True)
class Machine:
    """How one machine runs: a profile of :data:`~condlube.simulation.operating.PROFILES` and its figures."""

    machine_id: str
    profile: str
    speed_rpm: float
    speed_low_rpm: float
    load_pct: float


@dataclass(frozen=True)
class Fitted:
    """What only the simulation knows of a bearing.

    ``temperature_rise_k`` is the housing over ambient at nominal speed and load; ``life_used`` the share of the
    interval used up at the end of the history, counted from the last regular greasing (0: never greased).
    """

    bearing_id: str
    temperature_rise_k: float
    life_used: float


@dataclass(frozen=True)
class Plant:
    """Register, machines and bearings by id, the settings of ``plant.toml`` and the situations."""

    register: Register
    machines: Mapping[str, Machine]
    fitted: Mapping[str, Fitted]
    settings: Mapping[str, Any]
    situations: tuple[Mapping[str, Any], ...]


def parse_plant(register: Register, settings: Text, machines: Text, bearings: Text, situations: Text) -> Plant:
    """The plant from the texts of its description.

    Raises
    ------
    ConfigurationError
        With all faults: a machine or bearing that is missing or unknown, a profile or fault that does not exist.
    """
    plant = Plant(
        register=register,
        machines={
            row["machine_id"]: Machine(
                row["machine_id"],
                row["profile"],
                float(row["speed_rpm"]),
                float(row["speed_low_rpm"] or 0.0),
                float(row["load_pct"]),
            )
            for row in csv.DictReader(io.StringIO(machines.text))
        },
        fitted={
            row["bearing_id"]: Fitted(row["bearing_id"], float(row["temperature_rise_k"]), float(row["life_used"]))
            for row in csv.DictReader(io.StringIO(bearings.text))
        },
        settings=tomllib.loads(settings.text),
        situations=tuple(tomllib.loads(situations.text).get("situation", [])),
    )
    if found := _faults(plant, machines.file, bearings.file, situations.file):
        raise ConfigurationError(found)
    return plant


def _faults(plant: Plant, machines: str, bearings: str, situations: str) -> list[Fault]:
    table = plant.register.bearings
    known = {"machine": set(table["machine_id"].to_pylist()), "bearing": set(table["bearing_id"].to_pylist())}
    found = [Fault(machines, 0, "machine_id", m, "every machine of the register, once")
             for m in sorted(known["machine"] ^ set(plant.machines))]  # fmt: skip
    found += [Fault(bearings, 0, "bearing_id", b, "every bearing of the register, once")
              for b in sorted(known["bearing"] ^ set(plant.fitted))]  # fmt: skip
    found += [Fault(machines, 0, "profile", m.profile, "one of " + ", ".join(PROFILES))
              for m in plant.machines.values() if m.profile not in PROFILES]  # fmt: skip
    for situation in plant.situations:
        name = situation["name"]
        found += [Fault(situations, 0, f"{name}.bearings", b, "a bearing of the register")
                  for b in situation["bearings"] if b not in known["bearing"]]  # fmt: skip
        for key, catalogue in (("effects", faults.FAULTS), ("instruments", instruments.FAULTS)):
            found += [Fault(situations, 0, f"{name}.{key}", entry["fault"], "one of " + ", ".join(catalogue))
                      for entry in situation.get(key, []) if entry["fault"] not in catalogue]  # fmt: skip
    return found
