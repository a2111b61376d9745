"""Connections to the ledger's database: SQLite or PostgreSQL, each with its own way to let one writer in at a time."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from condlube.errors import Busy, StoreError

WAIT_S = 30
# Advisory locks of PostgreSQL: one for the length of a ledger write, one for the length of a writer.
# Both are keyed by the database schema too, so that several stores can share a database.
_WRITE_KEY, _WRITER_KEY = 1, 2
_SCHEMA = sa.func.hashtext(sa.func.current_schema())


def connect(url: str | sa.URL) -> Engine:
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
    path = url.database
    if not path or path == ":memory:":
        raise StoreError("ledger: SQLite needs a file, as in sqlite:////var/plant/ledger.sqlite")
    engine = sa.create_engine(url, poolclass=sa.pool.NullPool, creator=lambda: _open_file(path))

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A deferred transaction that turns into a write fails under two writers; one that begins as a write waits.
        writes = connection.get_execution_options().get("writing")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _open_file(path: str) -> sqlite3.Connection:
    """The database file, with transactions begun by us alone and readers that go on while one writes (WAL).

    WAL needs to make files beside the ledger even for reading. Where that fails, on a full disk or in a folder that
    may only be read, and the last writer has ended in good order, the file holds everything and is read as it stands.
    """
    connection = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
    except sqlite3.OperationalError as error:
        connection.close()
        pending = Path(f"{path}-wal")
        if "locked" in str(error) or (pending.exists() and pending.stat().st_size):
            raise
        connection = sqlite3.connect(f"{Path(path).absolute().as_uri()}?immutable=1", uri=True, isolation_level=None)
    except sqlite3.DatabaseError:
        connection.close()
        raise
    return connection
