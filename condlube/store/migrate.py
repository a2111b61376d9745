"""Schema versions: how a store that an older condlube wrote becomes one of this version.

A new column or table needs no version: what a store does not have yet reads as null, an append brings new columns into
its Delta table, and the ledger is given what it lacks when a writer opens it. Only a change that gives stored values
another meaning raises ``SCHEMA_VERSION`` and adds a step here. A store of a higher version is refused untouched.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import sqlalchemy as sa
from deltalake import DeltaTable
from sqlalchemy.engine import Connection

from condlube.store.sqltables import COMMITS, SQL_TABLES

SCHEMA_VERSION = 1
# Version -> what brings a store of that version to the next. A step changes ledger rows through the connection and
# Delta tables in place; both become valid in one commit.
Step = Callable[[Connection, Mapping[str, DeltaTable]], None]
STEPS: dict[int, Step] = {}


def lacking(connection: Connection) -> dict[str, set[str]]:
    """Ledger tables that are not there as they should be, with the columns that they lack."""
    held = {key[1]: {c["name"] for c in columns} for key, columns in sa.inspect(connection).get_multi_columns().items()}
    wanted = {name: {c.name for c in table.columns} for name, table in SQL_TABLES.items()}
    return {
        name: columns - held.get(name, set()) for name, columns in wanted.items() if columns - held.get(name, set())
    }


def extend(connection: Connection) -> None:
    """Add the tables and columns that the ledger lacks; in rows that are there the new columns are null."""
    COMMITS.metadata.create_all(connection)
    quote = connection.dialect.identifier_preparer.quote
    for table, columns in lacking(connection).items():
        for name in sorted(columns):
            kind = SQL_TABLES[table].c[name].type.compile(connection.dialect)
            connection.exec_driver_sql(f"ALTER TABLE {quote(table)} ADD COLUMN {quote(name)} {kind}")
