"""Connections to the ledger's database: SQLite or PostgreSQL, each with its own way to let one writer in at a time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from condlube.errors import Busy, StoreError

WAIT_S = 30
# Advisory locks of PostgreSQL: one for the length of a ledger write, one for the length of a writer.
# Both are keyed by the database schema too, so that several stores can share a database.
_WRITE_KEY, _WRITER_KEY = 1, 2
_SCHEMA = sa.func.hashtext(sa.func.current_schema())


def connect(url: str) -> Engine:
    """Engine for a SQLAlchemy URL. Every use connects anew: safe to fork, and nothing is left open.

    Raises
    ------
    StoreError
        When the URL cannot be read, names another database, or its driver is not installed.
    """
    try:
        parsed = sa.make_url(url)
        kind = parsed.get_backend_name()
        if kind == "sqlite":
            return _sqlite(parsed)
        if kind == "postgresql":
            parsed = parsed.set(drivername="postgresql+psycopg")
            return sa.create_engine(parsed, poolclass=sa.pool.NullPool, connect_args={"connect_timeout": 10})
    except sa.exc.ArgumentError as error:
        raise StoreError(f"ledger: {url!r} is not a database URL such as postgresql://user@host/database") from error
    except ModuleNotFoundError as error:
        raise StoreError(f"ledger: PostgreSQL needs the package {error.name}: install condlube[postgres]") from error
    raise StoreError(f"ledger: {kind} is not supported; use SQLite or PostgreSQL")


def place(engine: Engine) -> str:
    """Where the ledger is, without its password."""
    url = engine.url
    return str(url.database) if engine.dialect.name == "sqlite" else url.render_as_string(hide_password=True)


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """One write transaction: it waits up to 30 s for the one before it, then succeeds whole or not at all."""
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(sa.text(f"SET LOCAL lock_timeout = '{WAIT_S}s'"))
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_WRITE_KEY, _SCHEMA)))
        yield connection


@contextmanager
def sole_writer(engine: Engine) -> Iterator[None]:
    """On PostgreSQL hold an advisory lock that ends with the connection; on SQLite the lock file is enough."""
    if engine.dialect.name != "postgresql":
        yield
        return
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        if not connection.scalar(sa.select(sa.func.pg_try_advisory_lock(_WRITER_KEY, _SCHEMA))):
            raise Busy(f"{place(engine)}: being written from another machine; wait until it has ended and run again")
        yield


def _sqlite(url: sa.URL) -> Engine:
    engine = sa.create_engine(url, poolclass=sa.pool.NullPool, connect_args={"timeout": WAIT_S})

    @sa.event.listens_for(engine, "connect")
    def _plain(connection: Any, _: Any) -> None:
        connection.isolation_level = None  # the driver must not begin transactions of its own
        connection.execute("PRAGMA journal_mode = WAL")  # readers go on while one writes; kept in the file

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A deferred transaction that turns into a write fails under two writers; one that begins as a write waits.
        writes = connection.get_execution_options().get("writing")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
