"""The nightly definition: which files make up a site, and how its nights are run."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

from condlube.acquisition.definition import SourceDefinition, parse_source
from condlube.acquisition.keys import Keys
from condlube.errors import ConfigurationError, Fault
from condlube.operations.readfile import read_text
from condlube.policy.parse import key_lines
from condlube.register.model import Site, Text

FILE_NAME = "nightly.toml"


@dataclass(frozen=True)
class Definition:
    """One site: its files, and how its nights are run. Paths are absolute; those of files not named are None.

    Register, events and policy are read from their files when they are needed.
    """

    path: Path
    folder: Path
    text: str
    site: Site
    bearings: Path
    greases: Path | None
    points: Path | None
    events: Path | None
    policy: Path | None
    sources: tuple[SourceDefinition, ...]
    events_history: bool
    events_delay_h: float
    store: Path
    ledger: str
    output: Path
    run_hour: int
    horizon_days: int
    workers: int
    batch: int

    @property
    def digest(self) -> str:
        """SHA-256 of what can change a decision: folders, batches and workers cannot.

        Register, events and policy have digests of their own.
        """
        sources = sorted((source.name, source.digest) for source in self.sources)
        said = (
            self.site.name, self.site.zone.key, self.site.assumed_last_greasing, self.events_history,
            self.events_delay_h, self.run_hour, self.horizon_days, sources,
        )  # fmt: skip
        return sha256(repr(said).encode()).hexdigest()

    def policy_text(self) -> Text:
        """The policy in force: the file that the definition names, else the policy of the package."""
        return Text("default.toml", default_policy()) if self.policy is None else self.read(self.policy)

    def read(self, path: Path) -> Text:
        """A file of the site, named as its people know it. Raises ``ConfigurationError`` when it is not UTF-8 text."""
        return Text(self.shown(path), read_text(path, self.shown(path)))

    def shown(self, path: Path) -> str:
        """The path as it reads from the folder of the definition."""
        return path.relative_to(self.folder).as_posix() if path.is_relative_to(self.folder) else path.as_posix()


def default_policy() -> str:
    """The policy that comes with the package."""
    return resources.files("condlube.policy").joinpath("default.toml").read_text(encoding="utf-8")


def load(path: Path) -> Definition:
    """Read the definition at ``path``, a file or the folder that holds ``nightly.toml``, and its sources.

    Raises
    ------
    ConfigurationError
        With all faults of the definition and its sources.
    """
    definition, faults = examine(path)
    if faults or definition is None:
        raise ConfigurationError(faults)
    return definition


def examine(path: Path) -> tuple[Definition | None, list[Fault]]:
    """The definition as far as it can be read, and everything that is wrong with it and its sources.

    A value at fault is replaced by a harmless one, so that the files it leads to can still be looked at.
    """
    path = (path / FILE_NAME if path.is_dir() else path).resolve()
    if not path.is_file():
        return None, [Fault(str(path), 0, "", "no such file", f"a definition file, or a folder that holds {FILE_NAME}")]
    try:
        text = read_text(path, path.name)
        content = tomllib.loads(text)
    except ConfigurationError as error:
        return None, list(error.faults)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"at line (\d+)", str(error))
        return None, [Fault(path.name, int(line[1]) if line else text.count("\n") + 1, "", str(error), "valid TOML")]
    lines = {(section, key): line for dotted, line in key_lines(text).items()
             for section, _, key in [dotted.partition(".")]}  # fmt: skip
    keys = Keys(path.name, content, lines)
    definition = _read(keys, path, text)
    keys.refuse_rest()
    return definition, keys.faults


def _read(keys: Keys, path: Path, text: str) -> Definition:
    folder = path.parent
    zone = keys.text("site", "zone", None, lambda name: _zone(name) is not None, "an IANA time zone as Europe/Lisbon")
    site = Site(
        keys.text("site", "name", None, lambda name: bool(name.strip()), "the name of the site"),
        _zone(zone) or ZoneInfo("UTC"),
        _day(keys, "site", "assumed_last_greasing"),
    )
    return Definition(
        path=path,
        folder=folder,
        text=text,
        site=site,
        bearings=_file(keys, folder, "bearings", None) or folder,
        greases=_file(keys, folder, "greases", ""),
        points=_file(keys, folder, "points", ""),
        events=_file(keys, folder, "events", ""),
        policy=_file(keys, folder, "policy", ""),
        sources=_sources(keys, folder),
        events_history=keys.flag("events", "history", False),
        events_delay_h=keys.number("events", "delay_h", 6.0, "hours, 0 or more"),
        store=folder / keys.text("store", "folder", "store", bool, "a folder"),
        ledger=keys.text("store", "ledger", "", lambda url: "://" in url, "an SQLAlchemy URL, or nothing for SQLite"),
        output=folder / keys.text("output", "folder", "out", bool, "a folder"),
        run_hour=_count(keys, "run_hour", 6, 0, 23),
        horizon_days=_count(keys, "horizon_days", 7, 1, 366),
        workers=_count(keys, "workers", 1, 1, 1024),
        batch=_count(keys, "batch", 300, 1, 1_000_000),
    )


def _file(keys: Keys, folder: Path, key: str, default: str | None) -> Path | None:
    """A file that exists; None when it is not named or not there."""
    wanted = "a file, its path relative to this one"
    name = keys.text("files", key, default, lambda name: (folder / name).is_file(), wanted)
    return folder / name if name and (folder / name).is_file() else None


def _sources(keys: Keys, folder: Path) -> tuple[SourceDefinition, ...]:
    found: list[SourceDefinition] = []
    for name in keys.words("files", "sources", ()):
        if not (folder / name).is_file():
            keys.fault("files", "sources", name, "a file, its path relative to this one")
            continue
        try:
            source = parse_source(read_text(folder / name, name), name)
        except ConfigurationError as error:
            keys.faults.extend(error.faults)
            continue
        if any(other.name == source.name for other in found):
            keys.faults.append(source.fault("source", "name", source.name, "a name that no other source has"))
        found.append(source)
    return tuple(found)


def _count(keys: Keys, key: str, default: int, least: int, most: int) -> int:
    value = keys.count("night", key, default, least)
    if value > most:
        keys.fault("night", key, value, f"a whole number from {least} to {most}")
    return min(value, most)


def _day(keys: Keys, section: str, key: str) -> date | None:
    absent = date.min
    value = keys.day(section, key, absent)
    return None if value == absent else value


def _zone(name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return None
