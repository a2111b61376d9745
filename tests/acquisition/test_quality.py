"""Quality words and numbers. OPC numbers: OPC UA Part 8, release 1.05, annex A.3.2.3; Part 4 for status codes."""

from __future__ import annotations

import pytest

from condlube.acquisition.quality import BAD, GOOD, UNCERTAIN, UNKNOWN, of_text

WORDS = {"ok": "good", "comm fail": "bad", "good": "good", "uncertain": "uncertain", "bad": "bad"}


@pytest.mark.parametrize(
    ("text", "quality"),
    [
        ("192", GOOD), ("193", GOOD), ("194", GOOD), ("0", BAD), ("4", BAD), ("8", BAD), ("12", BAD), ("16", BAD),
        ("20", BAD), ("24", BAD), ("28", BAD), ("32", BAD), ("64", UNCERTAIN), ("68", UNCERTAIN), ("80", UNCERTAIN),
        ("84", UNCERTAIN), ("88", UNCERTAIN), ("128", BAD),
        ("195", UNCERTAIN),  # good, but the limit bits say constant: perhaps frozen
        ("216", UNCERTAIN), ("217", UNCERTAIN),  # good, but typed by hand
        ("448", GOOD),  # the vendor's own high byte does not count
        ("70000", UNKNOWN), ("-1", UNKNOWN), ("1.5", UNKNOWN), ("٣", UNKNOWN), ("192.0", GOOD),
    ],
)  # fmt: skip
def test_data_access_numbers(text: str, quality: int) -> None:
    assert of_text(text, WORDS, "opc_da") == quality


@pytest.mark.parametrize(
    ("number", "quality"),
    [(0, GOOD), (0x00A60000, GOOD), (0x40000000, UNCERTAIN), (0x80000000, BAD), (0xC0000000, BAD), (1 << 32, UNKNOWN)],
)
def test_status_codes(number: int, quality: int) -> None:
    assert of_text(str(number), WORDS, "opc_ua") == quality


@pytest.mark.parametrize(
    ("text", "quality"), [(" OK ", GOOD), ("COMM FAIL", BAD), ("fine", UNKNOWN), ("", UNKNOWN), ("192", UNKNOWN)]
)
def test_words_in_any_case_and_numbers_only_where_they_mean_something(text: str, quality: int) -> None:
    assert of_text(text, WORDS, "none") == quality


def test_a_declared_word_goes_before_a_number() -> None:
    assert of_text("1", {"1": "good"}, "opc_da") == GOOD
