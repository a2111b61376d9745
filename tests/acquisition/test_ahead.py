"""A stream made one item ahead gives what the stream itself gives."""

from __future__ import annotations

import threading

import pytest

from condlube.acquisition.ahead import ahead


@pytest.mark.parametrize("count", [0, 1, 2, 7])
def test_the_same_items_in_the_same_order(count):
    assert list(ahead(range(count))) == list(range(count))


def test_the_next_item_is_made_while_one_is_used():
    made = threading.Event()

    def items():
        yield 1
        made.set()
        yield 2

    stream = ahead(items())
    assert next(stream) == 1
    assert made.wait(timeout=10)
    assert list(stream) == [2]


def test_a_failure_comes_after_the_items_before_it():
    def items():
        yield 1
        yield 2
        raise ValueError("the third")

    stream = ahead(items())
    assert [next(stream), next(stream)] == [1, 2]
    with pytest.raises(ValueError, match="the third"):
        next(stream)


def test_stopping_early_waits_for_the_item_in_making():
    begun, finished = threading.Event(), []

    def items():
        yield 1
        begun.set()
        finished.append(True)
        yield 2

    stream = ahead(items())
    next(stream)
    begun.wait(timeout=10)
    stream.close()
    assert finished == [True]
