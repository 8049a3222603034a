"""Contrast of two colours after WCAG 2.2: its "relative luminance" and "contrast ratio" (limits: SC 1.4.3 and 1.4.11)."""

from __future__ import annotations

__all__ = ["contrast"]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours written "#rrggbb", from 1 to 21."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
