"""What a value can be at most, per quantity in its canonical unit.

Wide on purpose: a value outside is no reading of a machine but a wrong unit or an open sensor. Engineering judgement,
no source. A source narrows them per tag or quantity under [ranges], which is what catches degF among degC.
"""

PLAUSIBLE: dict[str, tuple[float, float]] = {
    "ultrasound": (-60.0, 160.0),
    "acceleration": (0.0, 1000.0),
    "kurtosis": (0.0, 10_000.0),
    "crest_factor": (0.0, 1000.0),
    "velocity": (0.0, 500.0),
    "temperature": (-60.0, 250.0),
    "speed": (-60_000.0, 60_000.0),
    "current": (-20_000.0, 20_000.0),
    "power": (-100_000.0, 100_000.0),
    "load": (-200.0, 300.0),
    "ambient": (-60.0, 80.0),
}
