"""What a register number may be at all: wide ranges that catch a slipped decimal mark or a wrong unit.

Engineering judgement, no source: each range holds everything that is greased in industry.
"""

from __future__ import annotations

LIMITS: dict[str, tuple[float, float]] = {
    "bore_mm": (1, 2000),
    "outside_diameter_mm": (3, 3000),
    "width_mm": (1, 1500),
    "mass_kg": (0.0005, 50_000),
    "dynamic_rating_n": (50, 1e8),
    "remote_line_m": (0.05, 200),
    "speed_rpm": (0.1, 200_000),
    "speed_min_rpm": (0, 100_000),
    "running_share": (0, 1),
    "load_ratio": (0.5, 1000),
    "manual_interval_h": (1, 200_000),
    "manual_reference_degc": (0, 250),
    "manual_quantity_g": (0.05, 20_000),
    "gun_g_per_stroke": (0.05, 20),
    "alarm_degc": (20, 300),
    "trip_degc": (20, 300),
    "housing_to_ring_k": (0, 60),
    "housing_degc": (-60, 300),
    "power_kw": (0.01, 200_000),
    "viscosity_40_mm2_s": (1, 10_000),
    "viscosity_100_mm2_s": (0.5, 2000),
    "temperature_min_degc": (-100, 60),
    "temperature_max_degc": (20, 400),
    "full_scale": (1e-6, 1e9),
    "grease_g": (0, 20_000),
}
YEARS = (1900, 2100)
