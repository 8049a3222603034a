"""The words of every report: what each quantity, input, phase, flag and finding is called and what it means in plain English.

Nothing here computes. A report takes its labels, units and sentences from this module, so that the terminal, the page, the
paper and the workbook say the same thing in the same words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = [
    "ACCOUNT_WORDS",
    "CAUTIONS",
    "CAUTIONS_LABEL",
    "DISTRIBUTION_WORDS",
    "FLAG_WORDS",
    "INPUT_WORDS",
    "LEDGER_ORDER",
    "MECHANICAL_WORDS",
    "METHOD_WORDS",
    "ORIGIN_WORDS",
    "PHASE_WORDS",
    "QUANTITY_WORDS",
    "SEVERITY_WORDS",
    "SLOPE_NOTE",
    "VELOCITY_NOTE",
    "SeverityWords",
    "Words",
    "input_words",
    "quantity_words",
    "unit_text",
]


@dataclass(frozen=True, slots=True)
class Words:
    """How one quantity or input is called and shown.

    label: the name in a table or a sentence, lower case except for proper nouns.
    symbol: the letter used in formulas, as plain text ("" where there is none).
    unit: the unit as it is shown ("m/s²", "°", "%", "" for a pure number).
    factor: the shown number is the stored one times this (100 for "%", else 1).
    meaning: one plain sentence, no full stop.
    """

    label: str
    symbol: str
    unit: str
    meaning: str
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class SeverityWords:
    """How a severity is shown. word: for a badge. mark: a shape that is told apart without colour. meaning: one sentence."""

    word: str
    mark: str
    meaning: str


def quantity_words(name: str) -> Words:
    """Return the words for a quantity; an unknown name is its own label, so that nothing goes unshown."""
    return QUANTITY_WORDS.get(name) or Words(name.replace("_", " "), "", "", "")


def input_words(name: str) -> Words:
    """Return the words for an input, setting or budget influence; an unknown name is its own label."""
    return INPUT_WORDS.get(name) or Words(name.replace("_", " "), "", "", "")


def unit_text(unit: str) -> str:
    """Return a stored unit as it is shown: "m/s^2" as "m/s²", "deg" as "°", "1" as ""."""
    return _UNITS.get(unit, unit)


_UNITS = {
    "1": "",
    "deg": "°",
    "degC": "°C",
    "m^2": "m²",
    "m/s^2": "m/s²",
    "kg/m^3": "kg/m³",
}

# In the order in which a reader meets them.
QUANTITY_WORDS: Mapping[str, Words] = MappingProxyType(
    {
        "release_time": Words("release time", "t₀", "s", "when the stop last pushed the cart, on the record's clock"),
        "release_speed": Words(
            "release speed", "v₀", "m/s", "the cart's speed at release, from the motion fitted to raw samples"
        ),
        "apex_time": Words("apex time", "tₚ", "s", "when the cart turned round for the first time, on the record's clock"),
        "travel": Words("travel", "d", "m", "the way along the track from release to apex"),
        "height": Words("height gained", "h", "m", "travel times the sine of the stated slope"),
        "climb_acceleration": Words(
            "deceleration while climbing", "a₁", "m/s²", "how fast the cart lost speed on the way up, drag taken out"
        ),
        "descent_acceleration": Words(
            "acceleration while descending", "a₂", "m/s²", "how fast the cart gained speed on the way down, drag taken out"
        ),
        "slope_from_motion": Words(
            "slope from the motion",
            "θₘ",
            "°",
            "the slope that climb and descent together show; a cross-check that the ledger does not use",
        ),
        "rolling_resistance": Words(
            "rolling resistance", "μ", "", "friction force over the force with which the cart presses on the track"
        ),
        "kinetic_energy": Words(
            "kinetic energy at release", "Eₖ", "J", "½ m v² of the cart as a whole, without the turning of its wheels"
        ),
        "rotational_energy": Words("rotational energy at release", "Eᵣ", "J", "energy in the turning wheels"),
        "potential_energy": Words("potential energy gained", "Eₚ", "J", "m g times the height gained from release to apex"),
        "rolling_loss": Words(
            "lost to rolling resistance", "Wᵣ", "J", "work done against rolling resistance from release to apex"
        ),
        "drag_loss": Words("lost to air drag", "Wₐ", "J", "work done against air drag from release to apex"),
        "difference": Words(
            "difference", "Δ", "J", "kinetic plus rotational energy at release, less the potential energy gained"
        ),
        "relative_difference": Words(
            "relative difference", "Δ/E", "%", "the difference as a part of the energy at release; the mass cancels in it", 100.0
        ),
        "unaccounted": Words(
            "unaccounted for", "Δ − W", "J", "what is left of the difference after rolling resistance and air drag"
        ),
        "restitution": Words("restitution", "e", "", "speed after a bounce over speed before it, at the stop itself"),
    }
)

# The rows of the ledger table: energy in, out, lost and left over.
LEDGER_ORDER: tuple[str, ...] = (
    "kinetic_energy",
    "rotational_energy",
    "potential_energy",
    "difference",
    "relative_difference",
    "rolling_loss",
    "drag_loss",
    "unaccounted",
)

INPUT_WORDS: Mapping[str, Words] = MappingProxyType(
    {
        "cart.mass": Words("mass of the cart", "m", "kg", "with all that rides on it"),
        "cart.rotating_fraction": Words(
            "rotating fraction", "κ", "", "rotating part of the inertia: sum of I/r² of the wheels over the cart's mass"
        ),
        "cart.drag_area": Words("drag area", "C A", "m²", "drag coefficient times frontal area of the cart"),
        "track.angle": Words("stated slope", "θ", "°", "angle of the track to the horizontal, as somebody measured it"),
        "track.rise": Words("rise of the track", "", "m", "height gained over the measured stretch of track"),
        "track.along": Words(
            "stretch of the rise", "", "m", "the stretch, measured along the track, over which the rise was taken"
        ),
        "track.length": Words("length of the track", "", "m", "length of the track"),
        "sensor.scale": Words(
            "distance scale",
            "",
            "",
            "true distance over reading: speed of sound in the room over the speed that the ranger assumes",
        ),
        "sensor.air_temperature": Words("air temperature", "", "°C", "temperature of the air between ranger and cart"),
        "sensor.assumed_temperature": Words("assumed temperature", "", "°C", "air temperature that the ranger assumes"),
        "sensor.humidity": Words("humidity", "", "%", "relative humidity of the air", 100.0),
        "sensor.placed": Words("place of the sensor", "", "", "the end of the track at which the ranger stands"),
        "sensor.min_range": Words("nearest range", "", "m", "nearest distance that the ranger can measure"),
        "sensor.max_range": Words("farthest range", "", "m", "farthest distance that the ranger can be trusted at"),
        "place.gravity": Words("gravity", "g", "m/s²", "acceleration of free fall at the place"),
        "place.latitude": Words("latitude", "", "°", "latitude of the place"),
        "place.altitude": Words("altitude", "", "m", "height of the place above sea level"),
        "place.air_density": Words("air density", "ρ", "kg/m³", "density of the air"),
        "fit of the motion": Words(
            "scatter of the samples", "", "", "how well the fit of the motion is known from this record's own scatter"
        ),
        "cart.rolling_resistance": Words("rolling resistance, assumed", "μ", "", "stands in where the descent was not recorded"),
        "datum.level": Words("rest level", "", "m", "where the cart rests on the stop, the zero of every position"),
        "datum.offset": Words("point of release", "", "m", "how far above the rest level the stop lets the cart go"),
        "between launches": Words("launch to launch", "", "", "how much the launches of this bench differ among themselves"),
    }
)

PHASE_WORDS: Mapping[str, Words] = MappingProxyType(
    {
        "still": Words("still", "", "", "the cart rests"),
        "handled": Words("handled", "", "", "a hand moves or holds the cart"),
        "push": Words("push", "", "", "the plunger or a hand drives the cart"),
        "climb": Words("climb", "", "", "free motion up the track"),
        "descent": Words("descent", "", "", "free motion down the track"),
        "contact": Words("contact", "", "", "the cart touches the stop"),
        "gap": Words("gap", "", "", "no usable samples"),
    }
)

FLAG_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "missing": "blank or unreadable",
        "far-echo": "echo from something farther away",
        "stuck": "the reading froze",
        "floor": "at the nearest distance that the sensor can report",
        "slip": "one ultrasonic cycle off (about 3 mm)",
        "clock": "the clock is wrong",
        "duplicate": "repeats an earlier sample",
        "outlier": "far from the fitted motion",
    }
)

SEVERITY_WORDS: Mapping[str, SeverityWords] = MappingProxyType(
    {
        "stop": SeverityWords("Stop", "■", "no ledger from this record should be trusted"),
        "look": SeverityWords("Look first", "▲", "a ledger is given, and a person should look first"),
        "note": SeverityWords("Note", "●", "good to know; nothing needs doing before the numbers are used"),
    }
)

MECHANICAL_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "gain": "More energy at the top than at release: a reading must be wrong",
        "loss": "Less energy at the top than at release",
        "conserved": "No difference seen, within the tolerance",
        "undecided": "This bench cannot tell",
    }
)

ACCOUNT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "closed": "Rolling resistance and air drag account for the difference",
        "open": "Rolling resistance and air drag do not account for the difference",
        "undecided": "Whether the losses account for the difference cannot be told",
    }
)

ORIGIN_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "given": "given",
        "default": "default",
        "inferred": "inferred",
        "planned": "planned, not measured",
    }
)

DISTRIBUTION_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "normal": "normal",
        "t": "t",
        "rectangular": "rectangular",
        "triangular": "triangular",
        "trapezoidal": "trapezoidal",
        "curvilinear-trapezoidal": "curvilinear trapezoidal",
        "arcsine": "arcsine",
        "constant": "constant",
    }
)

METHOD_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "gum": "linear propagation (GUM)",
        "monte-carlo": "Monte Carlo (GUM Supplement 1)",
    }
)

SLOPE_NOTE = (
    "The ledger uses the stated slope: with the motion's own it would agree with itself whatever the bench did. The rolling loss "
    "comes from the same samples, so the account closes exactly when the two slopes agree: a cross-check only, no second proof."
)

VELOCITY_NOTE = (
    "A logger's velocity column is smeared over neighbouring samples, and its tallest value falls between samples or inside the "
    "push. The release speed here is that of the motion fitted to the raw distances, taken at the end of the push."
)

CAUTIONS_LABEL = "Cautions, not a risk assessment. Follow your school's and local rules; the responsible teacher decides."

# Common practice in the trade, no source.
CAUTIONS: tuple[str, ...] = (
    "Keep the line of travel clear, with a stop at each end of the track.",
    "Make the first launch at the lowest setting, and never toward a face.",
    "Keep fingers clear of plunger, stop and wheels.",
    "Lift a long track with two people; clamp or weigh down a tall stand.",
    "Leave no leads or bags in the aisle, and no cart on the floor.",
    "Keep added masses away from the table's edge and off feet.",
    "Keep magnets away from medical implants.",
)
