"""Prior and evidence together: the probability of each state."""

from __future__ import annotations

from condlube.assessment import kernel
from condlube.assessment.sources import FloatArray


def posterior(prior: FloatArray, bits: FloatArray) -> FloatArray:
    """Probability of each state [bearings, states].

    The odds of a state against adequate are its prior odds times 2 to the sum of its bits [bearings, sources, states].
    """
    return kernel.posterior_all(prior, bits)
