"""The evidence of a decision as columns of text, on a narrow terminal too."""

import pytest

from condlube.explain.table import HEAD, text

ROWS = [
    (*HEAD, "machine fault", "sum", "instrument fault", "sum"),
    ("high-frequency acceleration (the machine stood)", "0.52 g", "0.30 g", "", "+0.00", "-6.94", "+0.00", "-7.60"),
    ("temperature before the greasing", "61.20 degC", "58.00 degC", "+3.2 K (less noise)", "-12.25", "-19.19", "+0.00",
     "-7.60"),
    ("log2 odds against adequate", "", "", "", "", "-19.19", "", "-7.60"),
]  # fmt: skip


@pytest.mark.parametrize("width", [80, 90, 100, 120, 200])
def test_no_row_is_wider_than_the_terminal_and_no_figure_is_lost(width):
    lines = text(ROWS, width).splitlines()
    assert max(map(len, lines)) <= width
    told = " ".join(lines).split()
    for row in ROWS[1:]:
        for word in (*row[0].split(), *row[4:]):
            assert word == "" or word in told


def test_the_foot_stays_one_line_behind_its_rule():
    *_, rule, foot = text(ROWS, 80).splitlines()
    assert set(rule) == {"-"}
    assert foot.startswith("log2 odds against adequate")


def test_levels_stand_where_there_is_room():
    assert "58.00 degC" in text(ROWS, 200)
    assert "58.00 degC" not in text(ROWS, 100)
