"""The Cramér–Rao bound for the release energy, and how far an audit's release energy lies from the truth in units of it.

What is bounded is the statistical part alone. Known exactly are the drag, the scale, the mass, the slope and the level at which
the stop let go; to be estimated are a_u, a_d and, for each hop, the time and the place of its apex. The samples are those
that were taken in free flight, between the true release and the true contact of each hop. Their errors count as normal with
the covariance of the simulated ranger: white noise, noise that grows with speed, an AR(1) part, the instants' jitter and the
rounding of the printed time, both times the speed, and q²/12 for each rounding of the distance in steps of q (echo clock, print).
With J the derivatives of the true motion (DESIGN §4, here by complex steps) and C that covariance, the information is
F = JᵀC⁻¹J, and no unbiased estimate of E = ½mv² has a variance below gᵀF⁻¹g, g being the derivatives of E.

For the comparison a bench is audited with its stated inputs replaced by the true ones without uncertainty. The audit's apex is
then measured from the true release level instead of the level it found, and E is worked out from its a_u and that travel.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from joulebook.analysis import audit_bench
from joulebook.engine.bench import Bench
from joulebook.engine.report import LaunchAudit
from joulebook.planning.ranger import Ranger
from joulebook.planning.simulate import SimulatedBench
from joulebook.planning.truth import Truth

__all__ = ["bench_with_true_inputs", "energy_bound", "energy_errors"]

Floats = npt.NDArray[np.float64]
_STEP = 1e-30
_NO_DRAG = 1e-7
"""1/m: below this the motion is the parabola, to the last digits of a double."""


def energy_errors(simulated: SimulatedBench) -> list[dict[str, float]]:
    """Return for each launch that was audited {"bound": J, "known_level": error over bound, "own_level": error over bound}.

    known_level: with the release level known, as the bound has it. own_level: with the level that the audit found.
    """
    audit = audit_bench(bench_with_true_inputs(simulated), method="linear")
    found = []
    for launch, truth in zip(audit.launches, simulated.truths, strict=True):
        if truth is None or launch.series is None or "a_u" not in launch.facts:
            continue
        bound = energy_bound(simulated, truth, launch.series.time)
        energy = _energy_from_true_level(simulated, truth, launch)
        own = launch.quantities["kinetic_energy"]
        assert not isinstance(own, tuple)
        found.append({
            "bound": bound,
            "known_level": (energy - truth.kinetic_energy) / bound,
            "own_level": (own.value - truth.kinetic_energy) / bound,
        })  # fmt: skip
    return found


def energy_bound(simulated: SimulatedBench, truth: Truth, time: Floats) -> float:
    """Return the bound on the standard deviation of the release energy, J.

    time: s, the launch record's samples, shape (n,).
    """
    setup, ranger = simulated.design.setup, simulated.design.ranger
    drag = _drag(simulated)
    own: list[float] = []
    samples: list[npt.NDArray[np.intp]] = []
    hop_of: list[npt.NDArray[np.intp]] = []
    for hop in truth.hops:
        end = hop.contact if np.isfinite(hop.contact) else np.inf
        inside = np.flatnonzero((time > hop.release) & (time < end))
        # Two samples or fewer pay for their own apex only: they tell nothing about the rest.
        if not np.isfinite(hop.apex) or (samples and inside.size < 3):
            continue
        hop_of.append(np.full(inside.size, len(samples)))
        samples.append(inside)
        own += [hop.apex, hop.apex_s]
    index, hops = np.concatenate(samples), np.concatenate(hop_of)
    parameters = np.array([truth.climb_acceleration, truth.descent_acceleration, *own])
    jacobian = np.empty((index.size, parameters.size))
    gradient = np.empty(parameters.size)
    for column in range(parameters.size):
        shifted = parameters.astype(complex)
        shifted[column] += 1j * _STEP
        jacobian[:, column] = _place(shifted, hops, time[index], drag).imag / _STEP
        gradient[column] = _energy(setup.mass, shifted[0], shifted[3] - truth.release_position, drag).imag / _STEP
    # Where no sample lies on a descent, a_d is not part of the problem.
    seen = np.any(jacobian != 0.0, axis=0)
    speed = _speed(parameters, hops, time[index], drag)
    covariance = _covariance(ranger, index, speed)
    information = jacobian[:, seen].T @ np.linalg.solve(covariance, jacobian[:, seen])
    return float(np.sqrt(gradient[seen] @ np.linalg.solve(information, gradient[seen])))


def bench_with_true_inputs(simulated: SimulatedBench) -> Bench:
    """Return the bench whose inputs are the truth, without uncertainty."""
    setup, ranger = simulated.design.setup, simulated.design.ranger
    true = {
        "cart.mass": setup.mass,
        "cart.rotating_fraction": setup.rotating_fraction,
        "cart.drag_area": setup.drag_area,
        "sensor.scale": ranger.scale,
        "place.gravity": setup.gravity,
        "place.air_density": setup.air_density,
        "track.angle": setup.angle,
    }
    inputs = {}
    for name, item in simulated.bench.inputs.items():
        value = true.get(name, item.value)
        if name == "track.rise":
            value = float(np.sin(np.radians(setup.angle))) * simulated.bench.inputs["track.along"].value
        inputs[name] = replace(item, value=value, u=0.0, distribution="constant")
    return replace(simulated.bench, inputs=inputs)


def _drag(simulated: SimulatedBench) -> float:
    setup = simulated.design.setup
    return 0.5 * setup.air_density * setup.drag_area / (setup.mass * (1.0 + setup.rotating_fraction))


def _energy_from_true_level(simulated: SimulatedBench, truth: Truth, launch: LaunchAudit) -> float:
    """Return ½mv² from the audit's a_u and its first apex, counted from the true release level."""
    series, facts, ranger = launch.series, launch.facts, simulated.design.ranger
    assert series is not None
    up = 1.0 if ranger.placed == "bottom" else -1.0
    apex_time = launch.quantities["apex_time"]
    assert not isinstance(apex_time, tuple)
    # The apex from the fitted sample next to it; both are counted from the audit's rest level, which is then put back.
    near = int(np.nanargmin(np.where(np.isfinite(series.fitted), np.abs(series.time - apex_time.value), np.nan)))
    fitted = np.array([facts["a_u"], facts.get("a_d", facts["a_u"]), apex_time.value, 0.0], dtype=complex)
    below = _place(fitted, np.zeros(1, dtype=np.intp), series.time[[near]], _drag(simulated)).real[0]
    one = int(np.flatnonzero(np.isfinite(series.position))[0])
    apex = series.fitted[near] - below + up * series.distance[one] * facts["scale"] - series.position[one]
    travel = apex - up * float(ranger.distance(truth.release_position))
    return float(_energy(simulated.design.setup.mass, facts["a_u"], travel, _drag(simulated)).real)


def _energy(mass: float, climb: Any, travel: Any, drag: float) -> Any:
    """½mv² from v² = (a/k)(e^(2kh) − 1)."""
    if drag < _NO_DRAG:
        return np.asarray(mass * climb * travel)
    return np.asarray(0.5 * mass * climb / drag * (np.exp(2.0 * drag * travel) - 1.0))


def _place(parameters: npt.NDArray[np.complex128], hops: npt.NDArray[np.intp], time: Floats, drag: float) -> Any:
    """The closed forms of DESIGN §4, for complex parameters."""
    tau = time - parameters[2::2][hops]
    rising = tau.real < 0.0
    if drag < _NO_DRAG:
        return parameters[3::2][hops] - 0.5 * np.where(rising, parameters[0], parameters[1]) * tau * tau
    up = np.log(np.cos(np.sqrt(parameters[0] * drag) * np.where(rising, tau, 0.0))) / drag
    down = np.log(np.cosh(np.sqrt(parameters[1] * drag) * np.where(rising, 0.0, tau))) / drag
    return parameters[3::2][hops] + np.where(rising, up, -down)


def _speed(parameters: Floats, hops: npt.NDArray[np.intp], time: Floats, drag: float) -> Floats:
    early, late = (_place(parameters.astype(complex), hops, time + shift, drag).real for shift in (-1e-5, 1e-5))
    return np.asarray(np.abs(late - early) / 2e-5)


def _covariance(ranger: Ranger, index: npt.NDArray[np.intp], speed: Floats) -> Floats:
    """Covariance of the samples' errors in true metres, shape (n, n)."""
    clock = ranger.jitter**2 + (10.0**-ranger.time_decimals) ** 2 / 12.0
    if float(ranger.rate) in (10.0, 20.0, 25.0, 40.0, 50.0, 100.0):
        clock = ranger.jitter**2  # these instants are printed exactly
    rounding = (ranger.echo_step**2 + ranger.step**2) / 12.0
    reading = ranger.noise + ranger.moving_noise * speed
    variance = ranger.scale**2 * (reading**2 + rounding) + clock * speed**2
    apart = np.abs(index[:, None] - index[None, :])
    return np.asarray(np.diag(variance) + (ranger.scale * ranger.drift_noise) ** 2 * ranger.memory**apart)
