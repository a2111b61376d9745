"""The house rules that no linter knows: short files, and a core that touches nothing outside its arguments."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import condlube

HOUSE = Path(condlube.__file__).parent
MOST_LINES = 300
CORE = (
    "chain", "advisory", "assessment", "detection", "manipulation", "lubrication", "policy", "register", "schema",
    "backtest", "explain", "simulation",
)  # fmt: skip

BUILTINS = {"open", "print", "input", "exec", "eval", "breakpoint"}
MODULES = {
    "os", "pathlib", "shutil", "tempfile", "glob", "subprocess", "socket", "time", "random", "secrets", "uuid",
    "logging", "multiprocessing", "threading", "concurrent", "asyncio", "sqlite3", "sqlalchemy", "deltalake",
    "filelock", "importlib", "urllib", "http",
}  # fmt: skip
METHODS = {
    "now", "utcnow", "today", "read_text", "read_bytes", "write_text", "write_bytes", "read_csv", "read_parquet",
    "read_table", "read_sql", "read_json", "to_csv", "to_parquet", "to_sql", "to_json", "loadtxt", "savetxt", "save",
    "load", "tofile", "fromfile", "genfromtxt", "getenv", "environ", "urandom", "seed", "set_state",
}  # fmt: skip
INSIDE = {"condlube", "tomllib"}
GENERATORS = {"Generator", "BitGenerator", "SeedSequence", "PCG64", "default_rng"}


def modules(*names: str) -> list[Path]:
    places = [HOUSE / name for name in names] if names else [HOUSE]
    return sorted(
        file for place in places for file in (place.rglob("*.py") if place.is_dir() else [place.with_suffix(".py")])
    )


def outside(source: str) -> Iterator[str]:
    """What the source reaches for outside its arguments, as ``line: name``; not under ``if __name__ == ...``."""
    tree = ast.parse(source)
    tree.body = [node for node in tree.body if not (isinstance(node, ast.If) and "__name__" in ast.unparse(node.test))]
    named = dict(imported(tree))
    called = {id(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            yield from (f"{node.lineno}: import {name}" for _, name in imported(node) if is_in(name, MODULES))
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load) and node.id in BUILTINS:
            yield f"{node.lineno}: {node.id}"
        elif isinstance(node, ast.Attribute):
            root, *rest = ast.unparse(node).split(".")
            name = ".".join([named.get(root, root), *rest])
            library = root in named and not is_in(name, INSIDE)
            own = root in named and not library
            touches = node.attr in METHODS and (library or (id(node) in called and not own))
            if touches or (name.startswith("numpy.random.") and name.split(".")[2] not in GENERATORS):
                yield f"{node.lineno}: {name}"
        elif isinstance(node, ast.Call) and not (node.args or node.keywords):
            yield from [f"{node.lineno}: no seed"] * ast.unparse(node.func).endswith("default_rng")


def imported(tree: ast.AST) -> Iterator[tuple[str, str]]:
    """Names that imports bind, and the dotted name that each stands for."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield (alias.asname, alias.name) if alias.asname else (alias.name.partition(".")[0],) * 2
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield alias.asname or alias.name, f"{node.module}.{alias.name}"


def is_in(name: str, places: set[str]) -> bool:
    return any(name == place or name.startswith(place + ".") for place in places)


@pytest.mark.parametrize("package", CORE)
def test_the_core_touches_no_file_clock_environment_randomness_log_or_process(package):
    files = modules(package)
    assert files
    found = [f"{file.relative_to(HOUSE)}:{what}" for file in files for what in outside(file.read_text("utf-8"))]
    assert found == []


@pytest.mark.parametrize(
    "source",
    [
        "open('x')",
        "print(1)",
        "from datetime import datetime\ndatetime.now()",
        "import datetime as d\nd.date.today()",
        "import time\ntime.time()",
        "from time import time",
        "import os\nos.environ['X']",
        "import os.path",
        "from pathlib import Path\nPath('x').read_text()",
        "def f(path):\n    return path.read_bytes()",
        "import logging\nlogging.getLogger()",
        "import numpy as np\nnp.random.normal()",
        "from numpy import random\nrandom.normal()",
        "import numpy.random as r\nr.shuffle([1])",
        "import numpy as np\nnp.random.default_rng()",
        "import random",
        "import pandas as pd\npd.Timestamp.now()",
        "import pandas as pd\npd.read_csv('x')",
        "from importlib import resources",
        "from importlib.resources import files",
        "def f(call=print):\n    pass",
    ],
)
def test_what_reaches_outside_is_seen(source):
    assert list(outside(source))


@pytest.mark.parametrize(
    "source",
    [
        "import numpy as np\ndef f(rng: np.random.Generator) -> float:\n    return rng.normal()",
        "import numpy as np\nnp.random.default_rng(7)",
        "import tomllib\ntomllib.loads('')",
        "from datetime import datetime, time\ntime(6)",
        "def f(table):\n    return table.to_pandas()",
        "def f(change):\n    return change.now",
        "from condlube.lubrication import reduction\nreduction.load(1)",
        "if __name__ == '__main__':\n    print(1)",
    ],
)
def test_what_stays_inside_is_left_alone(source):
    assert list(outside(source)) == []


def test_no_file_is_long_without_a_reason_in_its_first_line():
    """The reason follows the word *because*."""
    long = {}
    for file in modules():
        lines = file.read_text("utf-8").splitlines()
        if len(lines) > MOST_LINES and "because" not in lines[0]:
            long[file.relative_to(HOUSE).as_posix()] = len(lines)
    assert long == {}
