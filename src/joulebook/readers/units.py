"""Units as they stand in column headings, and what they are in SI.

Inch, foot and yard: exact since 1959 (NIST SP 811, appendix B.8: 1 in = 25.4 mm). Minute and hour: SI Brochure, table 8.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from joulebook.readers.words import fold

__all__ = ["CENTIMETRE", "METRE", "MILLIMETRE", "MILLISECOND", "SECOND", "Dimension", "Unit", "parse_unit"]

Dimension = Literal["time", "length", "velocity", "acceleration", "other"]


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: its symbol, its dimension, and its size in SI units of that dimension (1 for what is never converted)."""

    symbol: str
    dimension: Dimension
    factor: float = 1.0


SECOND = Unit("s", "time")
MILLISECOND = Unit("ms", "time", 1e-3)
METRE = Unit("m", "length")
CENTIMETRE = Unit("cm", "length", 1e-2)
MILLIMETRE = Unit("mm", "length", 1e-3)

# Names and abbreviations in the common European languages, folded to lower case without accents.
_NAMED: tuple[tuple[Unit, str], ...] = (
    (SECOND, "s sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos seg secondo secondi sekund "
             "sekunder "
             "sekunda sekundy sekunti sekuntia secunda secunde masodperc mp δευτερολεπτο δευτερολεπτα δευτ sn с сек "
             "секунда секунды"),
    (MILLISECOND, "ms msec msecs millisecond milliseconds millisekunde millisekunden milliseconde millisecondes milisegundo "
                  "milisegundos millisecondi millisekund millisekunder мс"),
    (Unit("µs", "time", 1e-6), "us µs μs usec microsecond microseconds mikrosekunden"),
    (Unit("ns", "time", 1e-9), "ns nanosecond nanoseconds"),
    (Unit("min", "time", 60.0), "min mins minute minutes minuten minutos minuti minut minuter minuutti мин"),
    (Unit("h", "time", 3600.0), "h hr hrs hour hours stunden heures horas ore"),
    (METRE, "m meter meters metre metres metro metros metri metr metry metrow metru metri μετρα м metraia metria"),
    (CENTIMETRE, "cm centimeter centimeters centimetre centimetres centimetro centimetros centimetri zentimeter centymetr "
                 "centymetry см εκατοστα"),
    (MILLIMETRE, "mm millimeter millimeters millimetre millimetres milimetro milimetros millimetri milimetr milimetry мм"),
    (Unit("dm", "length", 0.1), "dm decimeter decimetre dezimeter"),
    (Unit("µm", "length", 1e-6), "um µm μm micrometer micrometre mikrometer micron microns"),
    (Unit("km", "length", 1000.0), "km kilometer kilometre"),
    (Unit("in", "length", 0.0254), "in inch inches zoll pouce pouces pulgada pulgadas pollici"),
    (Unit("ft", "length", 0.3048), "ft foot feet pied pieds pie pies"),
    (Unit("yd", "length", 0.9144), "yd yard yards"),
)  # fmt: skip
_OTHER = (
    "n kn mn v mv kv a ma w mw j mj kj kg g mg hz khz pa kpa hpa mbar bar db dba lx lux lm k °c °f c f deg ° degc rad "
    "rad/s deg/s "
    "°/s % ohm ω mol cd mt px pixel pixels fps kg*m/s n*s nm v/m 1/s s^-1 s2 m2 m3 l ml bpm rpm"
)
_LENGTHS = "m|cm|mm|km|ft|in|dm|м|см"
_TIMES = "s|sec|sek|seg|ms|min|h|hr|с|сек"
_RATE = re.compile(rf"(?:{_LENGTHS})(?:/|per|\*)?(?:{_TIMES})(?:\^?-1)?")
_RATE_OF_RATE = re.compile(
    rf"(?:{_LENGTHS})(?:(?:/|per)\(?(?:{_TIMES})(?:(?:\^|\*\*)?2|/(?:{_TIMES})|\*(?:{_TIMES}))\)?|\*?(?:{_TIMES})\^?-2)"
)
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁻−–", "0123---")
_BY_NAME = {name: unit for unit, names in _NAMED for name in names.split()}
_BY_NAME |= {name: Unit(name, "other") for name in _OTHER.split() if name not in _BY_NAME}


def parse_unit(text: str) -> Unit | None:
    """Return the unit that a piece of a heading names, None when it names none.

    text: what stood in the brackets or after the slash ("cm", "m/s²"), any case.
    """
    # "Mm" or "S" in a heading is a slip of the shift key here, never a megametre or siemens.
    folded = "".join(fold(text.translate(_SUPERSCRIPTS)).replace("·", "*").replace("⋅", "*").replace("×", "*").split())
    folded = folded.strip(".,:")
    if not folded or len(folded) > 20:
        return None
    known = _BY_NAME.get(folded)
    if known is not None:
        return known
    if folded in ("g", "gn") or _RATE_OF_RATE.fullmatch(folded):
        return Unit(text.strip(), "acceleration")
    if re.search(r"/|per|\*|-1", folded) and _RATE.fullmatch(folded):
        return Unit(text.strip(), "velocity")
    if folded == "kmh" or folded == "mph":
        return Unit(text.strip(), "velocity")
    return None
