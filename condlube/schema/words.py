"""The closed vocabularies: every word that a column may hold."""

from __future__ import annotations

STATES = ("adequate", "starved", "overfilled", "supply_fault", "damaged", "machine_fault", "instrument_fault")
ACTIONS = ("grease", "hold", "inspect")

# Signals speak about one bearing; operating quantities say under which conditions they were taken.
SIGNALS = ("ultrasound", "acceleration", "kurtosis", "crest_factor", "velocity", "temperature")
OPERATING = ("speed", "current", "power", "load", "ambient")
QUANTITIES = SIGNALS + OPERATING
LUBRICATION_SENSITIVE = ("ultrasound", "acceleration")

QUALITIES = ("good", "uncertain", "bad")
SAMPLINGS = ("continuous", "route")
EVIDENCE_STATUSES = ("assessed", "not_testable", "faulty", "stale", "absent")
CONDITION_STATUSES = ("ok", "stale", "faulty", "not_testable", "state_unclear")
# Reason codes that one stage gives and a later one acts on; all codes have their words in explain/phrases.py.
OPERATING_CHANGED = "operating_changed"  # a level that a change of its machine's operation explains
FAINT = "faint"  # a level that a dead sensor and a machine that stands read alike
HEARD_BESIDE = "heard_beside"  # a level that the rise of another bearing of the machine explains
REFERENCE_UNSETTLED = "reference_unsettled"  # a rise over an expected level that no settled time has shown
SECOND_READING = "second_reading"  # a change that still stands on one reading
MEDIAN_OF_NIGHTS = "median_of_nights"  # a level that is weighed as the median of its last nights
LESS_NOISE = "less_noise"  # a level that is weighed nearer to the expected one, for it is uncertain
NOT_SIGNIFICANT = "not_significant"  # a velocity that changed by less than its standard calls significant
STATE_UNCLEAR = "state_unclear"  # a level that fell away: a question about the machine or the instrument
ONSETS = ("none", "gradual", "abrupt")
RESPONSES = ("unknown", "held", "returned", "none", "worse")
REFERENCE_STATES = ("open", "collecting", "frozen", "ended", "standing", "looked")

BEARING_TYPES = (
    "deep_groove_ball", "angular_contact_ball", "self_aligning_ball", "cylindrical_roller", "needle_roller",
    "tapered_roller", "spherical_roller", "toroidal_roller", "thrust_ball", "cylindrical_roller_thrust",
    "spherical_roller_thrust",
)  # fmt: skip
MACHINE_KINDS = ("motor", "pump", "fan", "gearbox", "conveyor", "other")
SEALS = ("open", "shielded", "sealed")
SHIELD_SIDES = ("inner", "outer", "both")
SUPPLIES = ("hand", "single_point_lubricator", "central_system", "oil", "none")
AUTOMATIC_SUPPLIES = ("single_point_lubricator", "central_system")
RELIEFS = ("plug", "valve", "none", "unknown")
FITTING_ACCESSES = ("running", "guard_off", "stopped", "remote_line")
DRIVES = ("direct", "inverter", "inverter_protected", "belt")
ORIENTATIONS = ("horizontal", "inclined", "vertical")
RINGS = ("inner", "outer")
CONTAMINATIONS = ("light_nonabrasive", "heavy_nonabrasive", "light_abrasive", "heavy_abrasive")
MOISTURES = ("dry", "humid", "condensation", "water")
SUPPORTS = ("rigid", "flexible")
INTERVAL_BASES = ("L01", "L10", "calendar", "unknown")
CRITICALITIES = ("low", "normal", "high", "highest")
ENTRIES = ("side", "outer_ring_groove")
THICKENERS = (
    "lithium", "lithium_complex", "calcium", "calcium_12_hydroxy", "calcium_complex",
    "calcium_sulfonate_complex", "aluminium_complex", "barium", "barium_complex", "sodium", "clay",
    "polyurea", "polyurea_shear_stable",
)  # fmt: skip
NLGI_NUMBERS = ("000", "00", "0", "1", "1.5", "2", "2.5", "3", "4", "5", "6")
BASE_OILS = ("mineral", "pao", "ester", "pag", "silicone", "pfpe")
EVENT_KINDS = (
    "relubrication", "inspection", "replacement", "failure", "sensor_moved", "rebuilt", "isolated", "returned",
    "withdrawn",
)  # fmt: skip
DEFECT_FINDINGS = ("noise", "defect_tones", "leak", "water_in_grease", "dirt_in_grease", "metal_in_grease",
                   "hardened_grease", "blocked_path")  # fmt: skip
# Damage classes of ISO 15243:2017 by their clause.
DAMAGE_CLASSES = (
    "5.1", "5.1.2", "5.1.3", "5.2", "5.2.2", "5.2.3", "5.3", "5.3.2", "5.3.3", "5.3.3.2", "5.3.3.3", "5.4", "5.4.2",
    "5.4.3", "5.5", "5.5.2", "5.5.3", "5.5.4", "5.6", "5.6.2", "5.6.3", "5.6.4",
)  # fmt: skip
FINDINGS = ("none", *DEFECT_FINDINGS, *DAMAGE_CLASSES)
VERDICTS = ("agree", "change", "defer")
NOTHING_FOUND = "inspected_nothing_found"  # the verdict is recorded as an inspection without finding, too
SEEN_ON_SITE, MEASURED_AGAIN, SENSOR_DOUBTED = "seen_on_site", "measured_again", "sensor_doubted"
VERDICT_REASONS = (
    NOTHING_FOUND, SEEN_ON_SITE, MEASURED_AGAIN, "work_planned", "machine_changed", SENSOR_DOUBTED, "record_wrong",
    "other",
)  # fmt: skip
