"""A sheet to draw on: one palette, shapes and hatches that need no colour, and an SVG that may stand in a page or a paper.

The SVG has a name and a description for screen readers, ids of its own, and no script, style, address or font from outside.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from xml.etree import ElementTree as ET

__all__ = ["HATCHES", "NARROW", "PALETTE", "SHAPES", "WIDE", "Frame", "Ink", "Scale", "Sheet", "text_width", "ticks"]

_SVG = "http://www.w3.org/2000/svg"


@dataclass(frozen=True, slots=True)
class Ink:
    """One colour of the pictures. light: on white paper; dark: in a page that the reader's system shows dark."""

    light: str
    dark: str


# Colour only supports: every mark also has its own shape, hatch, place or label. Each light value occurs once, because a dark
# page finds the marks by it. The tests check the contrasts (WCAG 2.2, 1.4.3 and 1.4.11).
PALETTE: Mapping[str, Ink] = MappingProxyType(
    {
        "ink": Ink("#1b1b1b", "#f2f2f2"),
        "muted": Ink("#555555", "#bdbdbd"),
        "grid": Ink("#dedede", "#3a3a3a"),
        "edge": Ink("#b4b4b4", "#5c5c5c"),
        "band": Ink("#ededed", "#2b2b2b"),
        "line": Ink("#0a5c91", "#7cc0f0"),
        "flag": Ink("#a63603", "#ffa669"),
        "paper": Ink("#ffffff", "#161616"),
        "kinetic": Ink("#0b5d92", "#4f9fd6"),
        "potential": Ink("#f3c26a", "#c58f2b"),
    }
)

# Fills of the energy bars: ground colour and the strokes on it, as SVG path data in a 6 × 6 cell ("dots" for two dots).
# The hatch is what tells the bars apart in black and white.
HATCHES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "kinetic": ("kinetic", ""),
        "rotational": ("paper", "M-1,1L1,-1M0,6L6,0M5,7L7,5"),
        "potential": ("potential", ""),
        "rolling": ("paper", "dots"),
        "drag": ("paper", "M0,1.5H6M0,4.5H6"),
        "stop": ("paper", "M0,3H6M3,0V6"),
        "unaccounted": ("paper", ""),
    }
)

# One shape per reason for flagging, in a square from -1 to 1; "missing" has no place on a picture.
SHAPES: Mapping[str, str] = MappingProxyType(
    {
        "far-echo": "M0,-1L0.95,0.75H-0.95Z",
        "floor": "M0,1L0.95,-0.75H-0.95Z",
        "stuck": "M-0.8,-0.8H0.8V0.8H-0.8Z",
        "slip": "M0,-1.1L1,0L0,1.1L-1,0Z",
        "clock": "M-0.35,-1H0.35V-0.35H1V0.35H0.35V1H-0.35V0.35H-1V-0.35H-0.35Z",
        "duplicate": "M-1,-0.4H1V0.4H-1Z",
        "outlier": "M-1,-0.6L-0.6,-1L0,-0.4L0.6,-1L1,-0.6L0.4,0L1,0.6L0.6,1L0,0.4L-0.6,1L-1,0.6L-0.4,0Z",
    }
)


@dataclass(frozen=True, slots=True)
class Frame:
    """The room for one picture. name: "wide" for a column on paper or a desk, "narrow" for a phone. width, font: CSS pixels."""

    name: str
    width: float
    font: float

    @property
    def narrow(self) -> bool:
        """Whether this is the phone's frame."""
        return self.name == "narrow"


WIDE, NARROW = Frame("wide", 640, 12), Frame("narrow", 330, 13)


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight scale from numbers, low to high, to pixels, start to end."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


class Sheet:
    """A drawing that grows downwards; colours are names of the palette."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self._body = ET.Element("g", {"font-family": "sans-serif", "font-size": f"{frame.font:g}"})
        self._hatches: list[str] = []

    def box(
        self,
        x: float,
        y: float,
        x2: float,
        y2: float,
        *,
        fill: str = "",
        hatch: str = "",
        stroke: str = "",
        width: float = 1,
        dash: str = "",
    ) -> None:
        """Draw a rectangle between two corners; `hatch` is one of HATCHES and wins over `fill`."""
        if hatch:
            ground, strokes = HATCHES[hatch]
            paint = f"url(#hatch-{hatch})" if strokes else PALETTE[ground].light
            if strokes and hatch not in self._hatches:
                self._hatches.append(hatch)
        else:
            paint = PALETTE[fill].light if fill else "none"
        data = {"x": _n(min(x, x2)), "y": _n(min(y, y2)), "width": _n(abs(x2 - x)), "height": _n(abs(y2 - y)), "fill": paint}
        self._add("rect", data | _stroke(stroke, width, dash))

    def line(self, points: Sequence[tuple[float, float]], *, stroke: str, width: float = 1, dash: str = "") -> None:
        """Draw a line through points."""
        path = "M" + "L".join(f"{_n(x)},{_n(y)}" for x, y in points)
        self._add("path", {"d": path, "fill": "none"} | _stroke(stroke, width, dash))

    def dots(self, points: Sequence[tuple[float, float]], *, size: float, fill: str = "ink") -> None:
        """Draw round dots of one diameter, ringed with ink; all in one element, so that a long record stays small."""
        if not points:
            return
        path = "".join(f"M{_n(x)},{_n(y)}h.01" for x, y in points)
        caps = {"d": path, "fill": "none", "stroke-linecap": "round"}
        self._add("path", caps | _stroke("ink", size, ""))
        if fill != "ink":
            self._add("path", caps | _stroke(fill, size - 1.8, ""))

    def mark(self, shape: str, x: float, y: float, *, size: float = 4.5, fill: str = "paper", stroke: str = "flag") -> None:
        """Draw one of SHAPES with its centre at a point."""
        # The width is given before scaling.
        data = {"d": SHAPES[shape], "transform": f"translate({_n(x)} {_n(y)}) scale({size:g})", "fill": PALETTE[fill].light}
        self._add("path", data | _stroke(stroke, 1.5 / size, ""))

    def text(
        self, x: float, y: float, text: str, *, anchor: str = "start", fill: str = "ink", bold: bool = False, turned: bool = False
    ) -> None:
        """Write one line whose middle stands at height y; `turned` reads upwards."""
        data = {"x": _n(x), "y": _n(y), "dy": "0.35em", "fill": PALETTE[fill].light}
        if anchor != "start":
            data["text-anchor"] = anchor
        if bold:
            data["font-weight"] = "bold"
        if turned:
            data["transform"] = f"rotate(-90 {_n(x)} {_n(y)})"
        self._add("text", data, text)

    def x_axis(self, scale: Scale, y: float, marks: Sequence[float], title: str) -> None:
        """Draw an axis along the foot of a plot, with its title below."""
        font = self.frame.font
        self.line([(scale.start, y), (scale.end, y)], stroke="muted")
        for value, label in zip(marks, _labels(marks), strict=True):
            self.line([(scale(value), y), (scale(value), y + 4)], stroke="muted")
            self.text(scale(value), y + 5 + 0.7 * font, label, anchor="middle")
        self.text(0.5 * (scale.start + scale.end), y + 6 + 2.1 * font, title, anchor="middle")

    def y_axis(self, scale: Scale, x: float, right: float, marks: Sequence[float], title: str) -> None:
        """Draw an axis at the left of a plot, with lines across to `right` and its title turned."""
        for value, label in zip(marks, _labels(marks), strict=True):
            self.line([(x, scale(value)), (right, scale(value))], stroke="grid")
            self.line([(x - 4, scale(value)), (x, scale(value))], stroke="muted")
            self.text(x - 6, scale(value), label, anchor="end")
        self.text(0.6 * self.frame.font, 0.5 * (scale.start + scale.end), title, anchor="middle", turned=True)

    def finish(self, height: float, *, name: str, title: str, description: str) -> str:
        """Return the SVG.

        name: unique within a document; every id begins with it. title, description: what a screen reader says.
        """
        ET.register_namespace("", _SVG)
        name = f"{name}-{self.frame.name}"
        root = ET.Element(
            "svg",
            {
                "xmlns": _SVG,
                "viewBox": f"0 0 {_n(self.frame.width)} {_n(height)}",
                "width": _n(self.frame.width),
                "height": _n(height),
                "role": "img",
                "aria-labelledby": f"{name}-title",
                "aria-describedby": f"{name}-desc",
            },
        )
        for tag, text in (("title", title), ("desc", description)):
            ET.SubElement(root, tag, {"id": f"{name}-{tag}"}).text = text
        if self._hatches:
            defs = ET.SubElement(root, "defs")
            for hatch in self._hatches:
                _pattern(defs, hatch, f"{name}-{hatch}")
        root.append(self._body)
        # The same hatch in two pictures of one page needs two ids.
        return ET.tostring(root, encoding="unicode").replace("url(#hatch-", f"url(#{name}-")

    def _add(self, tag: str, data: Mapping[str, str], text: str | None = None) -> None:
        ET.SubElement(self._body, tag, dict(data)).text = text


def text_width(text: str, font: float) -> float:
    """Return about how wide a line is in a common sans-serif, for laying out; on the generous side."""
    return 0.55 * font * len(text)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return at most so many round values between low and high, in steps of 1, 2 or 5."""
    rough = max(high - low, 1e-12) / max(most, 1)
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * factor for factor in (1, 2, 5, 10) if size * factor >= rough * (1 - 1e-9))
    return [round(step * k, 12) + 0.0 for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def _labels(marks: Sequence[float]) -> list[str]:
    steps = [b - a for a, b in itertools.pairwise(marks)] or [abs(marks[0]) or 1.0] if marks else [1.0]
    places = max(0, -math.floor(math.log10(min(steps)) + 1e-9))
    return [f"{mark:.{places}f}".replace("-", "−") for mark in marks]


def _stroke(colour: str, width: float, dash: str) -> dict[str, str]:
    if not colour:
        return {}
    data = {"stroke": PALETTE[colour].light, "stroke-width": f"{width:.3g}"}
    return data | {"stroke-dasharray": dash} if dash else data


def _pattern(defs: ET.Element, hatch: str, identity: str) -> None:
    ground, strokes = HATCHES[hatch]
    pattern = ET.SubElement(defs, "pattern", {"id": identity, "width": "6", "height": "6", "patternUnits": "userSpaceOnUse"})
    ET.SubElement(pattern, "rect", {"width": "6", "height": "6", "fill": PALETTE[ground].light})
    if strokes == "dots":
        for x, y in ((1.5, 1.5), (4.5, 4.5)):
            ET.SubElement(pattern, "circle", {"cx": f"{x}", "cy": f"{y}", "r": "1.1", "fill": PALETTE["ink"].light})
        return
    ET.SubElement(pattern, "path", {"d": strokes, "fill": "none"} | _stroke("ink", 1.2, ""))


def _n(value: float) -> str:
    return f"{round(value, 2) + 0.0:g}"
