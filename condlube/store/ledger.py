"""The ledger: one small SQL database. Its newest commit says what is valid."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import sqlalchemy as sa
from deltalake import DeltaTable
from sqlalchemy.engine import Connection

from condlube.errors import StoreError
from condlube.schema.arrow import rows_to_table
from condlube.schema.tables import TABLES
from condlube.store.engine import connect, place, writing
from condlube.store.faults import reported
from condlube.store.migrate import SCHEMA_VERSION, STEPS, extend, lacking
from condlube.store.sqltables import COMMITS, SQL_TABLES

# A run that is forced anew keeps its run_id: its row is written over. Every other row is written once.
_REDONE = {"runs"}
Row = Mapping[str, Any]
Rows = Mapping[str, Sequence[Row]]


class Commit(NamedTuple):
    """What became valid: the Delta version of every table."""

    commit_id: int
    versions: dict[str, int]
    schema_version: int = SCHEMA_VERSION


class Ledger:
    """The ledger at a SQLAlchemy URL. Making one costs nothing; every call connects, does its work and disconnects."""

    def __init__(self, url: str | sa.URL) -> None:
        self.engine = connect(url)
        self.place = place(self.engine)
        self._complete = False

    def exists(self) -> bool:
        """Whether a ledger has been created there."""
        if self.engine.dialect.name == "sqlite" and not Path(self.engine.url.database or "").exists():
            return False
        with self._reading() as connection:
            return sa.inspect(connection).has_table(COMMITS.name)

    def create(self, store_id: str, versions: Mapping[str, int]) -> None:
        """Create every table and the first commit in one transaction; a ledger that is there stays as it is."""
        with self._writing() as connection:
            if not sa.inspect(connection).has_table(COMMITS.name):
                COMMITS.metadata.create_all(connection)
                rows = {"stores": [{"store_id": store_id}]}
                _write(connection, Commit(1, dict(versions)), "create", rows, datetime.now(UTC))

    def migrate(self, tables: Mapping[str, DeltaTable]) -> None:
        """Bring the ledger, and Delta tables that are at the newest commit's content, to this schema version."""
        with self._reading() as connection:
            if not lacking(connection) and _commit_at(connection, self.place).schema_version == SCHEMA_VERSION:
                return
        with self._writing() as connection:
            extend(connection)
            newest = _commit_at(connection, self.place)
            for version in range(newest.schema_version, SCHEMA_VERSION):
                STEPS[version](connection, tables)
            if newest.schema_version < SCHEMA_VERSION:
                made = {name: table.version() for name, table in tables.items()}
                _write(connection, Commit(newest.commit_id + 1, made), "migrate", {}, datetime.now(UTC))

    def commit(self, source: str, now: datetime, rows: Rows, base: Mapping[str, int], made: Mapping[str, int]) -> int:
        """Write the rows and one commit in one transaction, and give its number.

        ``made`` holds the Delta versions that become valid, ``base`` the versions from which they were made: when the
        ledger says otherwise by now, another writer came between, and nothing is written.

        Raises
        ------
        StoreError
            Also when a row has the key of an earlier one but other content; the same content again is no fault.
        """
        if now.tzinfo is None:
            raise ValueError(f"the time of the commit, {now}, has no time zone")
        with self._writing() as connection:
            newest = _commit_at(connection, self.place)
            if moved := [table for table in made if newest.versions[table] != base[table]]:
                raise StoreError(f"{self.place}: another writer has meanwhile committed {', '.join(sorted(moved))}")
            commit = Commit(newest.commit_id + 1, {**newest.versions, **made})
            _write(connection, commit, source, rows, now)
            return commit.commit_id

    def commit_at(self, commit_id: int | None = None) -> Commit:
        """The commit of that number, by default the newest."""
        with self._reading() as connection:
            return _commit_at(connection, self.place, commit_id)

    def rows(
        self, table: str, where: Mapping[str, Any] | None = None, until: int | None = None
    ) -> list[dict[str, Any]]:
        """Rows of a table in order of commit and key, with the columns of the schema.

        ``where`` maps columns to the value wanted (None for null) or to a list of values. ``until`` is the last
        commit to look at.
        """
        target, names = SQL_TABLES[table], TABLES[table].columns
        lacks = self._lacking().get(table, set())
        if "commit_id" in lacks:
            return []
        shown = [sa.null().label(name) if name in lacks else target.c[name] for name in names]
        query = sa.select(*shown).order_by(target.c.commit_id, *target.primary_key)
        for name, value in (where or {}).items():
            column = target.c[name]
            query = query.where(column.in_(value) if isinstance(value, list | tuple | set) else column == value)
        if until is not None:
            query = query.where(target.c.commit_id <= until)
        with self._reading() as connection:
            return [dict(row) for row in connection.execute(query).mappings()]

    def count(self, table: str, until: int) -> int:
        """Number of rows of a table up to a commit."""
        return int(self._one(sa.func.count(), table, until))

    def newest(self, table: str, column: str, until: int) -> Any:
        """Greatest value of a column up to a commit; None where there is none."""
        return self._one(sa.func.max(SQL_TABLES[table].c[column]), table, until)

    def _one(self, wanted: sa.ColumnElement[Any], table: str, until: int) -> Any:
        target = SQL_TABLES[table]
        with self._reading() as connection:
            return connection.scalar(sa.select(wanted).select_from(target).where(target.c.commit_id <= until))

    def damage(self) -> list[str]:
        """What the database itself finds wrong with its file; PostgreSQL looks after its own."""
        if self.engine.dialect.name != "sqlite":
            return []
        with self._reading() as connection:
            said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
        return [f"{self.place}: {line}" for line in said if line != "ok"]

    def copy_to(self, other: Ledger) -> None:
        """Write every row into a database where there is no ledger yet, in one transaction."""
        with self._reading() as source, other._writing() as target:
            COMMITS.metadata.create_all(target)
            lacks = lacking(source)
            for name, table in SQL_TABLES.items():
                columns = [column for column in table.c if column.name not in lacks.get(name, set())]
                if columns and (rows := source.execute(sa.select(*columns)).mappings().all()):
                    target.execute(sa.insert(table), [dict(row) for row in rows])

    def _lacking(self) -> Mapping[str, set[str]]:
        """What a ledger that no writer of this version has opened yet does not have."""
        if not self._complete:
            with self._reading() as connection:
                lacks = lacking(connection)
            self._complete = not lacks
            return lacks
        return {}

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with reported(f"reading the ledger {self.place}"), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with reported(f"writing the ledger {self.place}"), writing(self.engine) as connection:
            yield connection


def _commit_at(connection: Connection, where: str, commit_id: int | None = None) -> Commit:
    query = sa.select(COMMITS).order_by(COMMITS.c.commit_id.desc()).limit(1)
    if commit_id is not None:
        query = query.where(COMMITS.c.commit_id == commit_id)
    row = connection.execute(query).mappings().one_or_none()
    if row is None:
        raise StoreError(f"{where}: there is no commit {'' if commit_id is None else commit_id}".rstrip())
    if row["schema_version"] > SCHEMA_VERSION:
        raise StoreError(
            f"{where}: written by a newer condlube (store version {row['schema_version']}, this one knows "
            f"{SCHEMA_VERSION}). Update condlube; nothing was touched"
        )
    return Commit(row["commit_id"], json.loads(row["versions"]), row["schema_version"])


def _write(connection: Connection, commit: Commit, source: str, rows: Rows, now: datetime) -> None:
    for table, given in rows.items():
        _insert(connection, table, given, commit.commit_id, now)
    row = {
        "commit_id": commit.commit_id,
        "source": source,
        "versions": json.dumps(commit.versions, sort_keys=True),
        "schema_version": SCHEMA_VERSION,
        "committed_at": now,
    }
    connection.execute(sa.insert(COMMITS), row)


def _insert(connection: Connection, table: str, given: Sequence[Row], commit_id: int, now: datetime) -> None:
    """Insert the rows that are not there yet; ``commit_id`` and ``committed_at`` are filled in."""
    target, schema = SQL_TABLES[table], TABLES[table]
    rows = rows_to_table(table, given).to_pylist()
    held = _held(connection, target, schema.key, rows)
    new: dict[tuple[Any, ...], Row] = {}
    for row in rows:
        key = tuple(row[name] for name in schema.key)
        row["commit_id"] = commit_id
        if "committed_at" in schema.columns and row["committed_at"] is None:
            row["committed_at"] = now
        if nul := [name for name, value in row.items() if isinstance(value, str) and "\x00" in value]:
            raise StoreError(f"{table}: {nul[0]} holds a NUL character, which not every database can keep")
        earlier = held.get(key) or new.get(key)
        if earlier is None:
            new[key] = row
        elif table in _REDONE:
            same = sa.and_(*(target.c[name] == row[name] for name in schema.key))
            connection.execute(sa.delete(target).where(same))
            new[key] = row
        elif differing := [c.name for c in schema if not c.clock and earlier[c.name] != row[c.name]]:
            said = ", ".join(f"{name} {row[name]}" for name in schema.key)
            raise StoreError(f"{table}: {said} is already recorded with another {', '.join(differing)}")
    if new:
        connection.execute(sa.insert(target), list(new.values()))


def _held(
    connection: Connection, target: sa.Table, key: Sequence[str], rows: Sequence[Row]
) -> dict[tuple[Any, ...], Row]:
    """The rows of the table that have the keys of ``rows``, and perhaps others, by key."""
    first, held = key[0], dict[tuple[Any, ...], Row]()
    wanted = sorted({row[first] for row in rows if row[first] is not None})
    for start in range(0, len(wanted), 500):
        query = sa.select(target).where(target.c[first].in_(wanted[start : start + 500]))
        for row in connection.execute(query).mappings():
            held[tuple(row[name] for name in key)] = dict(row)
    return held
