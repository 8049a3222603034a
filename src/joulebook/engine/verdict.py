"""The verdict: what the ledger lets one claim, as far as this kit can tell (DESIGN §5)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from joulebook.engine.ledger import Ledger
from joulebook.engine.report import Finding, Verdict
from joulebook.uncertainty import Quantity

__all__ = ["judge", "no_verdict"]

_NAMES = {
    "track.angle": "the track's angle",
    "track.rise": "the track's rise",
    "track.along": "the length over which the rise was taken",
    "sensor.scale": "the ranger's distance scale",
    "sensor.air_temperature": "the air temperature",
    "sensor.assumed_temperature": "the temperature that the ranger assumes",
    "sensor.humidity": "the humidity of the air",
    "cart.mass": "the cart's mass",
    "cart.rolling_resistance": "the rolling resistance that had to be assumed",
    "place.latitude": "the latitude of the place",
    "place.altitude": "the height of the place",
    "place.air_density": "the density of the air",
    "cart.rotating_fraction": "the wheels' share of the inertia",
    "cart.drag_area": "the air drag",
    "fit of the motion": "the scatter of the readings",
    "datum.level": "the rest level",
    "datum.offset": "where the stop lets go",
    "place.gravity": "g",
}


def judge(ledger: Ledger, *, tolerance: float) -> Verdict:
    """Compare kinetic with potential energy, and what is left with the known losses.

    tolerance: the relative expanded uncertainty below which "no difference seen" may be called conserved.
    """
    energy = ledger.quantity("kinetic_energy").value + ledger.quantity("rotational_energy").value
    difference, left = ledger.quantity("difference"), ledger.quantity("unaccounted")
    relative = ledger.quantity("relative_difference")
    resolution = _reach(difference) / energy
    mechanical: Literal["gain", "loss", "conserved", "undecided"]
    if difference.high < 0.0:
        mechanical = "gain"
    elif difference.low > 0.0:
        mechanical = "loss"
    else:
        mechanical = "conserved" if resolution <= tolerance else "undecided"
    account: Literal["closed", "open", "undecided"]
    if left.low > 0.0 or left.high < 0.0:
        account = "open"
    else:
        small = _reach(left) / energy <= tolerance
        account = "closed" if small else "undecided"
    error = relative.value / max(_reach(relative), 1e-300)
    return Verdict(mechanical, account, resolution, error, _sentence(mechanical, account, ledger, energy, tolerance))


def no_verdict(findings: Sequence[Finding]) -> Verdict:
    """Return the verdict of a bench from which no ledger can be drawn up, for the first reason to stop."""
    reason = next((finding.message for finding in findings if finding.severity == "stop"), "no launch could be analysed.")
    return Verdict("undecided", "undecided", float("inf"), 0.0, f"Nothing can be said about the energy: {reason}")


def _reach(quantity: Quantity) -> float:
    """Return the expanded uncertainty: the larger arm of the coverage interval."""
    return max(quantity.high - quantity.value, quantity.value - quantity.low)


def _sentence(mechanical: str, account: str, ledger: Ledger, energy: float, tolerance: float) -> str:
    relative, left = ledger.quantity("relative_difference"), ledger.quantity("unaccounted")
    expanded = 100.0 * _reach(relative)
    seen = f"{_percent(100.0 * relative.value, expanded)} ± {_percent(expanded, expanded)} % of the energy at release"
    lines = ledger.budgets["relative_difference"]
    largest = _NAMES.get(lines[0].input, lines[0].input) if lines else "nothing"
    rest = f"{_percent(100.0 * left.value / energy, expanded)} ± {_percent(100.0 * _reach(left) / energy, expanded)} %"
    explained = {
        "closed": f"Rolling resistance and drag can account for it: {rest} is left over.",
        "open": f"Rolling resistance and drag do not account for it: {rest} is left over.",
        "undecided": f"Whether rolling resistance and drag account for it cannot be told: {rest} is left over.",
    }[account]
    if mechanical == "loss":
        return f"Mechanical energy was lost between release and apex: {seen}. {explained}"
    if mechanical == "gain":
        # A slope that is stated too steep is by far the commonest way to gain energy, however well it was thought to be known.
        slope = next((line.input for line in lines if line.input.startswith("track.")), lines[0].input if lines else "")
        largest = _NAMES.get(slope, slope)
        return (
            f"The cart seems to gain energy, {_percent(-100.0 * relative.value, expanded)} ± {_percent(expanded, expanded)} % of "
            f"the energy at release. That cannot be: a reading is wrong, most likely {largest}."
        )
    if mechanical == "conserved":
        left_over = {
            "closed": f"After rolling resistance and drag {rest} is left over.",
            "open": f"Yet after rolling resistance and drag {rest} is left over, more than the uncertainty allows.",
            "undecided": f"After rolling resistance and drag {rest} is left over, which is too uncertain to tell.",
        }[account]
        return f"Energy was conserved as far as this kit can tell: the difference is {seen}. {left_over}"
    return (
        f"This kit cannot tell whether energy was conserved: the difference is {seen}, and {100.0 * tolerance:g} % was asked "
        f"for. The largest influence is {largest}{_what_it_takes(lines, 0.01 * expanded, tolerance)}."
    )


def _what_it_takes(lines: tuple[object, ...], reach: float, tolerance: float) -> str:
    """Say how much smaller the largest influence would have to be for U to come down to the tolerance."""
    if not lines:
        return ""
    share = lines[0].share  # type: ignore[attr-defined]
    allowed = (tolerance / reach) ** 2 - (1.0 - share)
    if allowed <= 0.0:
        return "; it is not the only one that is too large"
    return f"; it would have to be known {max(1.1, (share / allowed) ** 0.5):.1f} times better"


def _percent(value: float, expanded: float) -> str:
    digits = 2 if expanded < 0.3 else 1 if expanded < 10.0 else 0
    text = f"{value:.{digits}f}"
    return text.replace("-", "−") if float(text) != 0.0 else text.replace("-", "")
