"""Source definitions: complete with defaults, or refused with every fault at its line."""

from __future__ import annotations

from datetime import date

import pytest

from condlube.acquisition.definition import parse_source
from condlube.acquisition.tags import binding_faults
from condlube.errors import ConfigurationError
from condlube.schema.arrow import rows_to_table

LEAST = """
[source]
name = "hist"
files = "exports/*.csv"
reader = "long"
[columns]
time = "t"
tag = "g"
value = "v"
"""


def faults(text: str) -> dict[str, int]:
    with pytest.raises(ConfigurationError) as caught:
        parse_source(text, "s.toml")
    return {fault.column: fault.line for fault in caught.value.faults}


def test_the_least_definition_has_stated_defaults() -> None:
    source = parse_source(LEAST, "s.toml")
    form = source.format
    assert (source.history, source.delay_h, source.settle_s) == (False, 6.0, 5.0)
    assert (form.zone, form.time_format, form.delimiter, form.decimal, form.encoding) == (
        None,
        "iso",
        ",",
        ".",
        "utf-8",
    )
    assert (form.header_line, form.stamp, form.interval_min, form.earliest) == (1, "begin", 0.0, date(2000, 1, 1))
    assert dict(source.quality) == {"good": "good", "uncertain": "uncertain", "bad": "bad"}
    assert source.quality_numbers == "opc_da"


def test_any_change_of_the_text_changes_the_digest() -> None:
    assert parse_source(LEAST, "a").digest == parse_source(LEAST, "b").digest
    assert parse_source(LEAST, "a").digest != parse_source(LEAST + "[units]\n", "a").digest


def test_faults_come_together_and_with_their_lines() -> None:
    text = LEAST.replace('reader = "long"', 'reader = "lng"\nnmae = "x"').replace('value = "v"', "value = 0")
    assert faults(text) == {"source.reader": 5, "source.nmae": 6, "columns.value": 10}


def test_toml_faults_have_a_line() -> None:
    assert faults(LEAST + "[format\n") == {"": 10}


@pytest.mark.parametrize(
    ("addition", "column"),
    [
        ('[format]\nstamp = "end"\n', "format.interval_min"),
        ('[format]\ndecimal = ","\n', "format.decimal"),
        ('[format]\ndelimiter = ";"\ndecimal = ","\nthousands = ","\n', "format.decimal"),
        ('[format]\ntime_format = "%d/%m"\n', "format.time_format"),
        ('[format]\nzone = "Lisbon"\n', "format.zone"),
        ('[format]\nspan_days = 0\n', "format.span_days"),
        ('[format]\nheader_line = -1\n', "format.header_line"),
        ('[quality]\nnumbers = "opc"\n', "quality.numbers"),
        ('[quality]\ngood = "OK"\n', "quality.good"),
        ('[ranges]\n"X" = [1]\n', "ranges.X"),
        ('[tags]\n"X" = 1\n', "tags.X"),
        ('[headers]\ntag = 1\n', "headers"),
        ('[ignore]\ntag = ["X"]\n', "ignore.tag"),
        ("format = 3\n", "source.format"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(addition: str, column: str) -> None:
    text = LEAST.replace("[columns]", addition + "[columns]") if addition == "format = 3\n" else LEAST + addition
    assert list(faults(text)) == [column]


def test_each_reader_asks_for_its_own_columns_and_sections() -> None:
    per_tag = LEAST.replace('"long"', '"per_tag"')
    assert set(faults(per_tag)) == {"columns.tag", "tag.pattern"}
    assert set(faults(per_tag.replace('tag = "g"\n', "") + "[tag]\npattern = '(\\d+)'\n")) == {"tag.pattern"}
    route = LEAST.replace('"long"', '"route"')
    assert faults(route + '[values]\n"V" = ".V"\n') == {"columns.value": 9}
    assert set(faults(route.replace('value = "v"\n', ""))) == {"columns.value"}
    events = LEAST.replace('"long"', '"events"').replace('tag = "g"\nvalue = "v"', 'kind = "k"')
    assert parse_source(events + '[kinds]\n"PM" = "relubrication"\n', "s").kinds == {"pm": "relubrication"}
    assert set(faults(events + '[kinds]\n"PM" = "oiling"\n')) == {"kinds.PM"}
    headers = LEAST.replace('"long"', '"wide_headers"').replace('tag = "g"\nvalue = "v"\n', "")
    assert set(faults(headers + "[headers]\ntag = 2\nunit = 2\n")) == {"headers.tag"}


def test_what_the_register_does_not_bear_out_is_told() -> None:
    points = rows_to_table("points", [{"point_id": "p", "tag": "T", "quantity": "temperature"}])
    tags, units = '[tags]\n"A" = "q"\n"B" = "p"\n', '[units]\n"T" = "mm/s"\n"U" = "degC"\n"B" = "degF"\n'
    text = LEAST + tags + units + '[ranges]\ntemperature = [0, 90]\n"C" = [0, 1]\n'
    found = {(fault.column, fault.line) for fault in binding_faults(parse_source(text, "s.toml"), points)}
    assert found == {("tags.A", 11), ("units.T", 14), ("units.U", 15), ("ranges.C", 19)}
