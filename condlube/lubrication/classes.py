"""The class names that the calculations know, each list ordered from mild to severe where there is an order."""

from __future__ import annotations

BALL_TYPES = ("deep_groove_ball", "angular_contact_ball", "self_aligning_ball", "thrust_ball")
THRUST_TYPES = ("thrust_ball", "cylindrical_roller_thrust", "spherical_roller_thrust")
BEARING_TYPES = (
    "deep_groove_ball",
    "angular_contact_ball",
    "self_aligning_ball",
    "cylindrical_roller",
    "needle_roller",
    "tapered_roller",
    "spherical_roller",
    "toroidal_roller",
    "thrust_ball",
    "cylindrical_roller_thrust",
    "spherical_roller_thrust",
)
CONTAMINATIONS = ("light_nonabrasive", "heavy_nonabrasive", "light_abrasive", "heavy_abrasive")
MOISTURES = ("dry", "humid", "condensation", "water")
ORIENTATIONS = ("horizontal", "inclined", "vertical")
SEALS = ("open", "shielded", "sealed")
ROTATING_RINGS = ("inner", "outer")
SUPPORTS = ("rigid", "flexible")
SEVERITIES = ("none", "moderate", "strong", "very_strong")
