"""The same ledger on each database; PostgreSQL where CONDLUBE_TEST_POSTGRES names a database by its URL."""

from __future__ import annotations

import os
from uuid import uuid4

import pytest
import sqlalchemy as sa

from condlube.store.layout import LAYOUT
from condlube.store.ledger import Ledger


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request, tmp_path):
    """URL of an empty database: a new file, or a new schema of the PostgreSQL database."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'ledger.sqlite'}"
        return
    given = os.environ.get("CONDLUBE_TEST_POSTGRES")
    if not given:
        pytest.skip("PostgreSQL: CONDLUBE_TEST_POSTGRES is not set")
    schema = f"condlube_{uuid4().hex}"
    engine = sa.create_engine(given, poolclass=sa.pool.NullPool)
    with engine.begin() as connection:
        connection.execute(sa.schema.CreateSchema(schema))
    yield sa.make_url(given).update_query_dict({"options": f"-csearch_path={schema}"}).render_as_string(False)
    with engine.begin() as connection:
        connection.execute(sa.schema.DropSchema(schema, cascade=True))


@pytest.fixture
def ledger(url):
    made = Ledger(url)
    made.create("s" * 32, dict.fromkeys(LAYOUT, 0))
    return made
