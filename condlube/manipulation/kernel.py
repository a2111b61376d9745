"""Compiled functions: one typed decorator, so that annotations hold inside and outside of kernels."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numpy as np
import numpy.typing as npt
from numba import njit

Parameters = ParamSpec("Parameters")
Result = TypeVar("Result")

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


def kernel(function: Callable[Parameters, Result]) -> Callable[Parameters, Result]:
    """Compile at first call and keep the machine code on disk."""
    return cast("Callable[Parameters, Result]", njit(cache=True)(function))
