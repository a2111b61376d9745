"""Long lines go on below, within the terminal; short ones stay as they are."""

from __future__ import annotations

import pytest

from condlube import cli_parts


@pytest.mark.parametrize("width", [40, 80])
def test_long_lines_go_on_further_in(monkeypatch, width):
    monkeypatch.setattr(cli_parts, "width", lambda: width)
    text = "head\n  12 reason: " + "word " * 30 + "\n    P-1  2026-01-01  4 dB"
    folded = cli_parts.folded(text).splitlines()
    assert folded[0] == "head"
    assert folded[-1] == "    P-1  2026-01-01  4 dB"
    assert max(map(len, folded)) <= width
    assert all(line.startswith("    word") for line in folded[2:-1])
    assert " ".join(" ".join(folded).split()) == " ".join(text.split())
