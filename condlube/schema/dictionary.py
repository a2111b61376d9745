"""The data dictionary page, made from the schema."""

from __future__ import annotations

from condlube.schema.columns import COLUMNS
from condlube.schema.tables import TABLES

_HEAD = """# Nomenclature and data dictionary

Made from `condlube/schema/` by `python -m condlube.schema.dictionary`; a test holds this page to the code.
Times are UTC.
Columns marked *clock* tell when the work was done: equal tables may differ in these.
"""


def page() -> str:
    """The page as Markdown: every table with its columns, units and meanings."""
    parts = [_HEAD]
    for table in TABLES.values():
        parts.append(f"\n## {table.name}\n\n{table.meaning[0].upper()}{table.meaning[1:]}. Home: {table.home}. "
                     f"Key: {', '.join(f'`{k}`' for k in table.key)}.\n\n"
                     "| column | type | unit | meaning |\n|---|---|---|---|\n")  # fmt: skip
        for name in table.columns:
            column = COLUMNS[name]
            words = f" One of: {', '.join(column.choices)}." if column.choices else ""
            clock = " *clock*" if column.clock else ""
            parts.append(f"| `{name}` | {column.type} | {column.unit} | {column.meaning}.{words}{clock} |\n")
    return "".join(parts)


if __name__ == "__main__":
    print(page(), end="")
