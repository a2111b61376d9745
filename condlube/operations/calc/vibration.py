"""Conversions of vibration amplitudes and levels, worked."""

from __future__ import annotations

from condlube.errors import InvalidArgument
from condlube.lubrication import vibration_units as units
from condlube.operations.calc.working import Item, Method, Working, number_text

SINE = "definition, for a sine; a broadband signal has another crest factor"


def vibration(
    velocity_mm_s_rms: float | None = None, frequency_hz: float | None = None, level_db: float | None = None
) -> Working:
    """Peak of a velocity, displacement at a frequency, amplitude ratio of a level difference."""
    inputs, methods = [], []
    if velocity_mm_s_rms is not None:
        inputs.append(Item("velocity_mm_s_rms", "velocity", velocity_mm_s_rms, "mm/s rms", "v"))
        methods.append(_peak_page(velocity_mm_s_rms))
        if frequency_hz is not None:
            inputs.append(Item("frequency_hz", "frequency", frequency_hz, "Hz", "f"))
            methods.append(_displacement_page(velocity_mm_s_rms, frequency_hz))
    if level_db is not None:
        inputs.append(Item("level_db", "level difference", level_db, "dB", "L"))
        ratio = float(units.amplitude_ratio(level_db))
        methods.append(
            Method(
                "Amplitude ratio",
                "definition of the level of an amplitude",
                formula=("ratio = 10^(L/20)",),
                substituted=(f"ratio = 10^({number_text(level_db)}/20) = {number_text(ratio)}",),
                results=(Item("amplitude_ratio", "amplitude ratio", ratio),),
            )
        )
    if not methods:
        raise InvalidArgument("velocity_mm_s_rms", None, "a velocity or a level difference")
    results = tuple(item for method in methods for item in method.results)
    return Working("Vibration amplitudes", tuple(inputs), tuple(methods), results)


def _peak_page(velocity: float) -> Method:
    peak = float(units.peak_from_rms(velocity))
    return Method(
        "Peak",
        SINE,
        formula=("v_peak = √2·v;  25.4 mm = 1 in",),
        substituted=(f"v_peak = 1.4142 × {number_text(velocity)} = {number_text(peak)} mm/s",),
        results=(
            Item("velocity_mm_s_peak", "velocity, peak", peak, "mm/s peak"),
            Item("velocity_in_s_peak", "the same in inches", peak / 25.4, "in/s peak"),
        ),
    )


def _displacement_page(velocity: float, frequency: float) -> Method:
    displacement = float(units.displacement_um_peak_to_peak(velocity, frequency))
    return Method(
        "Displacement",
        SINE,
        formula=("s = 2·√2·v/(2π·f)",),
        substituted=(
            f"s = 1000 × 2.8284 × {number_text(velocity)} / (6.2832 × {number_text(frequency)})"
            f" = {number_text(displacement)} µm",
        ),
        results=(Item("displacement_um_peak_to_peak", "displacement, peak to peak", displacement, "µm"),),
    )
