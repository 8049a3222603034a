"""The maps as one picture: docs/maps.svg. The numbers carry the meaning; the tint only leads the eye, and fades well in grey."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import product
from typing import Any

from benchmarks.maps import ANGLES, NOISES, RATES, STOPS, MapCell

__all__ = ["map_picture"]

Results = Mapping[str, Any]

_SIDE, _HIGH, _LEFT, _TOP, _GAP = 40, 21, 112, 74, 30
_PLAIN, _FAINT, _STRONG, _WIDE, _WIDEST = "#ffffff", "#fbe0bd", "#e8963c", "#dbe7f3", "#a9c6e3"
_PANELS: tuple[tuple[str, str], ...] = (
    ("Coverage of the release energy, %", "kinetic_energy"),
    ("Coverage of the relative difference, %", "relative_difference"),
    ("Error of the release energy over its bound, rms", ""),
)


def map_picture(results: Sequence[Results]) -> str:
    """Return an SVG of three panels, one above the other: rows are stop and angle, columns rate and noise."""
    cells = {each["cell"]: each for each in results}
    rows, columns = len(STOPS) * len(ANGLES), len(RATES) * len(NOISES)
    panel = _TOP + rows * _HIGH + _GAP
    width, height = _LEFT + columns * _SIDE + 16, len(_PANELS) * panel
    title = "Coverage and efficiency in each cell of the region; the tables below hold the same numbers"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img">',
        f"<title>{title}</title>",
        '<style>text{font:12px sans-serif;fill:#111}.h{font-weight:bold}.n{text-anchor:middle}.r{text-anchor:end}</style>',
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
    ]
    for number, (words, name) in enumerate(_PANELS):
        parts += _panel(cells, words, _coverage(name) if name else _efficiency, number * panel)
    return "\n".join([*parts, "</svg>", ""])


def _panel(cells: Mapping[str, Results], words: str, shown: Callable[[Results], tuple[str, str]], top: int) -> list[str]:
    parts = [f'<text class="h" x="8" y="{top + 20}">{words}</text>']
    for y, label in ((42, "rate"), (64, "noise, mm")):
        parts.append(f'<text class="r" x="{_LEFT - 8}" y="{top + y}">{label}</text>')
    for at, rate in enumerate(RATES):
        middle = _LEFT + (at + 0.5) * len(NOISES) * _SIDE
        parts.append(f'<text class="n" x="{middle:g}" y="{top + 42}">{rate:g}/s</text>')
    columns = list(product(RATES, NOISES))
    for at, (_, noise) in enumerate(columns):
        parts.append(f'<text class="n" x="{_LEFT + (at + 0.5) * _SIDE:g}" y="{top + 64}">{noise:g}</text>')
    for row, (stop, angle) in enumerate(product(STOPS, ANGLES)):
        y = top + _TOP + row * _HIGH
        parts.append(f'<text class="r" x="{_LEFT - 8}" y="{y + 15}">{stop}, {angle:g}°</text>')
        for column, (rate, noise) in enumerate(columns):
            each = cells.get(MapCell(stop, angle, rate, noise).name)
            text, tint = ("–", _PLAIN) if each is None else shown(each)
            x = _LEFT + column * _SIDE
            parts.append(f'<rect x="{x}" y="{y}" width="{_SIDE}" height="{_HIGH}" fill="{tint}" stroke="#888888" stroke-width="0.5"/>')
            bold = " h" if tint == _STRONG else ""
            parts.append(f'<text class="n{bold}" x="{x + _SIDE / 2:g}" y="{y + 15}">{text}</text>')
    # A heavier line between stops and between rates.
    bottom = top + _TOP + len(STOPS) * len(ANGLES) * _HIGH
    right = _LEFT + len(columns) * _SIDE
    heavy = [f"M{_LEFT} {top + _TOP + at * len(ANGLES) * _HIGH}H{right}" for at in range(len(STOPS) + 1)]
    heavy += [f"M{_LEFT + at * len(NOISES) * _SIDE} {top + _TOP}V{bottom}" for at in range(len(RATES) + 1)]
    return [*parts, f'<path d="{"".join(heavy)}" stroke="#333333" stroke-width="1.2" fill="none"/>']


def _coverage(name: str) -> Callable[[Results], tuple[str, str]]:
    def shown(each: Results) -> tuple[str, str]:
        if not each["given"][name]:
            return "–", _PLAIN
        share = each["covered"][name] / each["given"][name]
        tint = _STRONG if share < 0.90 else _FAINT if share < 0.92 else _WIDEST if share > 0.99 else _WIDE if share > 0.98 else _PLAIN
        return f"{100.0 * share:.0f}", tint

    return shown


def _efficiency(each: Results) -> tuple[str, str]:
    if not each["efficiency"]:
        return "–", _PLAIN
    rms = each["efficiency"]["known_level"][1]
    return f"{rms:.2f}", _STRONG if rms > 1.5 else _FAINT if rms > 1.2 else _PLAIN
