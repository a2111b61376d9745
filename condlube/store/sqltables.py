"""The ledger's SQL tables, generated from the schema."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Dialect

from condlube.schema.tables import TABLES


class UtcTime(sa.types.TypeDecorator[datetime]):
    """An instant: with its zone where the database keeps zones, as UTC where it does not."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


_TYPES: dict[str, Any] = {
    "str": sa.Text(),
    "int": sa.BigInteger(),
    "float": sa.Double(),
    "bool": sa.Boolean(),
    "date": sa.Date(),
    "time": UtcTime(),
}


def _sql_table(metadata: sa.MetaData, name: str) -> sa.Table:
    table = TABLES[name]
    columns = [
        sa.Column(
            c.name,
            _TYPES[c.type],
            primary_key=c.name in table.key,
            autoincrement=False,
            nullable=c.name not in table.key,
        )
        for c in table
    ]
    if "commit_id" not in table.columns:
        columns.append(sa.Column("commit_id", sa.BigInteger(), nullable=False, index=True))
    return sa.Table(name, metadata, *columns)


_METADATA = sa.MetaData()
# Every row knows the commit that brought it, whether or not its table shows it.
SQL_TABLES = {name: _sql_table(_METADATA, name) for name, table in TABLES.items() if table.home == "ledger"}
COMMITS = SQL_TABLES["commits"]
