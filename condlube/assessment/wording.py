"""Words for rows."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from condlube.lubrication.result import BoolArray


def first_word(told: Mapping[str, BoolArray], otherwise: str = "") -> npt.NDArray[np.object_]:
    """The first word that holds for each row; each word is one object, however often it stands."""
    words = np.array([*told, otherwise], dtype=object)
    holds = [np.asarray(rows, dtype=np.bool_) for rows in told.values()]
    return np.asarray(words[np.select(holds, list(range(len(told))), len(told))])
