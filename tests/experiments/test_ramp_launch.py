"""The ramp launch's physics against integrated equations of motion, closed forms, a textbook and the trade's own arithmetic."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from tests.experiments.hand_made import bench_of, record_of, ride

from joulebook.analysis import audit_bench
from joulebook.errors import InputError
from joulebook.experiments import EXPERIMENTS, get_experiment
from joulebook.experiments.ramp_launch import RAMP_LAUNCH, UNITS, arc, expected_fall, gravity, ledger_model, scale
from joulebook.uncertainty import Block, Input, monte_carlo, propagate

Floats = np.ndarray

# a_u, a_d (m/s²), k (1/m): no drag, a cart's (½·1.2·0.003/0.25 = 0.007), a sail's, and one that slows a fast cart by half.
MOTIONS = [(1.72, 1.60, 0.0), (1.72, 1.60, 0.0072), (0.62, 0.48, 0.0036), (3.1, 2.9, 0.05), (1.1, 0.9, 0.6), (1.0, 1.0, 1e-9)]


def integrated(a_u: float, a_d: float, k: float, tau: Floats) -> tuple[Floats, Floats]:
    """Return place and velocity at tau (s from the apex) by integrating DESIGN §4's equations away from the apex, both ways."""

    def forces(sign: int) -> Any:
        return lambda _, y: [y[1], -a_u - k * y[1] ** 2 if sign < 0 else -a_d + k * y[1] ** 2]

    place, velocity = np.zeros(tau.size), np.zeros(tau.size)
    for sign in (-1, 1):
        side = np.flatnonzero(np.sign(tau) == sign)
        order = side[np.argsort(np.abs(tau[side]))]
        end = float(tau[order[-1]])
        found = solve_ivp(forces(sign), (0.0, end), [0.0, 0.0], t_eval=tau[order], method="DOP853", rtol=1e-12, atol=1e-14)
        place[order], velocity[order] = found.y
    return place, velocity


def textbook(tau: Any, a: Any, k: Any, climbing: bool) -> Any:
    """The closed form as DESIGN §4 prints it, for complex steps; k must not be small."""
    root = np.sqrt(a * k) * tau
    return np.log(np.cos(root)) / k if climbing else -np.log(np.cosh(root)) / k


@pytest.mark.parametrize(("a_u", "a_d", "k"), MOTIONS)
def test_arc_is_the_integrated_motion(a_u: float, a_d: float, k: float) -> None:
    tau = np.concatenate([np.linspace(-0.9, -0.01, 40), np.linspace(0.01, 1.1, 40)])
    position, _, by_tau, _ = arc(tau, a_u, a_d, k)
    place, velocity = integrated(a_u, a_d, k, tau)
    # The series leave out 62/14175·q⁴ of the position, 5·10⁻¹⁰ of it at their limit of q = 0.02.
    assert position == pytest.approx(place, rel=1e-9, abs=1e-12)
    assert by_tau == pytest.approx(velocity, rel=1e-8, abs=1e-12)


@pytest.mark.parametrize(("a_u", "a_d", "k"), [(1.72, 1.60, 0.05), (3.1, 2.9, 0.2), (1.1, 0.9, 0.6)])
def test_arc_derivatives_by_complex_step(a_u: float, a_d: float, k: float) -> None:
    tau = np.array([-0.9, -0.4, -0.15, 0.15, 0.5, 1.2])
    position, by_a, by_tau, by_drag = arc(tau, a_u, a_d, k)
    h = 1e-30
    for place, t in enumerate(tau):
        climbing, a = bool(t < 0), a_u if t < 0 else a_d
        assert position[place] == pytest.approx(textbook(t, a, k, climbing), rel=1e-12)
        assert by_a[place] == pytest.approx(textbook(t, a + 1j * h, k, climbing).imag / h, rel=1e-11)
        assert by_tau[place] == pytest.approx(textbook(t + 1j * h, a, k, climbing).imag / h, rel=1e-11)
        assert by_drag[place] == pytest.approx(textbook(t, a, k + 1j * h, climbing).imag / h, rel=1e-9)


def test_arc_derivatives_by_differences_where_series_are_summed() -> None:
    tau, step = np.array([-0.8, -0.3, 0.3, 0.9]), 1e-5
    a_u, a_d, k = 1.7, 1.5, 0.01
    _, by_a, by_tau, by_drag = arc(tau, a_u, a_d, k)
    change = [
        (arc(tau, a_u + step, a_d + step, k)[0] - arc(tau, a_u - step, a_d - step, k)[0]) / (2.0 * step),
        (arc(tau + step, a_u, a_d, k)[0] - arc(tau - step, a_u, a_d, k)[0]) / (2.0 * step),
        (arc(tau, a_u, a_d, k + step)[0] - arc(tau, a_u, a_d, k - step)[0]) / (2.0 * step),
    ]
    for derivative, difference in zip((by_a, by_tau, by_drag), change, strict=True):
        assert derivative == pytest.approx(difference, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_arc_goes_on_smoothly_where_series_and_exact_forms_meet(side: float) -> None:
    """At q = akτ² = 0.02 the branch changes for the whole array: both are the same function to what the series leave out."""
    k, t = 0.01, side * 1.0
    below, above = (arc(np.array([t]), a, a, k) for a in (2.0 * (1 - 1e-12), 2.0 * (1 + 1e-12)))
    for low, high, left_out in zip(below, above, (1e-9, 1e-8, 1e-8, 2e-6), strict=True):
        assert high[0] == pytest.approx(low[0], rel=left_out)
    assert below[0][0] != above[0][0] or below[3][0] != above[3][0], "the branches were not both used"


def test_arc_tends_to_the_parabola() -> None:
    """k → 0: s = −½aτ², and ∂s/∂k = −a²τ⁴/12 up the slope, +a²τ⁴/12 down (Taylor, DESIGN §4)."""
    tau = np.array([-0.7, -0.2, 0.2, 0.8])
    a = np.where(tau < 0, 1.7, 1.5)
    for k in (0.0, 1e-12, 1e-9, 1e-6):
        position, by_a, by_tau, by_drag = arc(tau, 1.7, 1.5, k)
        assert position == pytest.approx(-0.5 * a * tau**2, rel=2e-7)
        assert by_a == pytest.approx(-0.5 * tau**2, rel=2e-6)
        assert by_tau == pytest.approx(-a * tau, rel=2e-6)
        assert by_drag == pytest.approx(np.where(tau < 0, -1.0, 1.0) * a**2 * tau**4 / 12.0, rel=2e-6)
    assert arc(tau, 1.7, 1.5, 0.0)[0] == pytest.approx(-0.5 * a * tau**2, rel=1e-15)


def test_arc_at_the_apex_is_zero() -> None:
    for k in (0.0, 0.01, 0.6):
        position, by_a, by_tau, _ = arc(np.array([0.0]), 1.7, 1.5, k)
        assert (position[0], by_a[0], by_tau[0]) == (0.0, 0.0, 0.0)


def test_no_climb_lasts_longer_than_a_quarter_turn() -> None:
    """√(a_u k)·|τ| ≥ π/2 would need an infinite launch speed: the place is far below any track, and nothing warns."""
    quarter = 0.5 * math.pi / math.sqrt(1.7 * 0.6)
    position = arc(np.array([-1.5 * quarter, -quarter * 0.99]), 1.7, 1.5, 0.6)[0]
    assert position[0] < -30.0 / 0.6
    assert -10.0 < position[1] < -1.0


# ------------------------------------------------------------------------------------------------ the ledger

STATED = {
    "cart.mass": 0.25, "cart.rotating_fraction": 0.015, "cart.drag_area": 0.003, "track.angle": 10.0, "sensor.scale": 1.0,
    "place.gravity": 9.80665, "place.air_density": 1.2,
}  # fmt: skip


def model_of(k: float, **options: Any) -> Any:
    """The model with a fit that does not follow the drag."""
    none = {name: 0.0 for name in ("fit.climb", "fit.descent", "fit.apex_time", "fit.apex_1", "fit.apex_2", "fit.apex_3")}
    return ledger_model(**{"hops": 1, "descent_seen": True, "drag": k, "by_drag": none, **options})


def drag_constant(v: Mapping[str, float]) -> float:
    """k = c/(1+κ) with c = ½ρ·drag_area/m (DESIGN §4)."""
    c = 0.5 * v["place.air_density"] * v["cart.drag_area"] / v["cart.mass"]
    return c / (1.0 + v["cart.rotating_fraction"])


def ideal(mu: float, travel: float, **changes: float) -> dict[str, float]:
    """Stated values and fitted values that belong together: a_u and a_d of DESIGN §4."""
    v = {**STATED, **changes}
    sin, cos = math.sin(math.radians(v["track.angle"])), math.cos(math.radians(v["track.angle"]))
    g, kappa = v["place.gravity"], v["cart.rotating_fraction"]
    v |= {"fit.climb": g * (sin + mu * cos) / (1.0 + kappa), "fit.descent": g * (sin - mu * cos) / (1.0 + kappa)}
    return v | {"fit.apex_time": 2.0, "fit.apex_1": travel + 0.013, "datum.level": 0.01, "datum.offset": 0.003}


def ledger(v: Mapping[str, float], **options: Any) -> dict[str, float]:
    found = model_of(drag_constant(v), **options)({name: np.asarray(value) for name, value in v.items()})
    return {name: float(value) for name, value in found.items()}


@pytest.mark.parametrize("area", [0.0, 0.003, 0.1])
@pytest.mark.parametrize("angle", [3.0, 10.0, 18.0])
def test_energies_are_those_of_the_integrated_motion(area: float, angle: float) -> None:
    """Released at v, the cart of DESIGN §4's equations climbs the travel; each loss is its force's work along the way."""
    mu, travel = 0.006, 0.45
    v = ideal(mu, travel, **{"cart.drag_area": area, "track.angle": angle})
    found = ledger(v)
    k, m, kappa, g = drag_constant(v), v["cart.mass"], v["cart.rotating_fraction"], v["place.gravity"]
    a_u, cos = v["fit.climb"], math.cos(math.radians(angle))
    # The motion backwards from the apex until it has gone down the travel.
    gone = solve_ivp(
        lambda _, y: [y[1], -a_u - k * y[1] ** 2], (0.0, -5.0), [0.0, 0.0], method="DOP853", rtol=1e-12, atol=1e-14,
        events=_at(lambda y: y[0] + travel), dense_output=True,
    )  # fmt: skip
    back, speed = float(gone.t_events[0][0]), float(gone.y_events[0][0][1])
    assert found["release_speed"] == pytest.approx(speed, rel=1e-9)
    assert found["release_time"] == pytest.approx(2.0 + back, abs=1e-9)
    assert found["apex_time"] == 2.0
    assert found["travel"] == pytest.approx(travel, rel=1e-14)
    assert found["kinetic_energy"] == pytest.approx(0.5 * m * speed**2, rel=1e-9)
    assert found["rotational_energy"] == pytest.approx(0.5 * m * kappa * speed**2, rel=1e-9)
    assert found["potential_energy"] == pytest.approx(m * g * travel * math.sin(math.radians(angle)), rel=1e-12)
    assert found["rolling_loss"] == pytest.approx(mu * m * g * cos * travel, rel=1e-9)
    work = quad(lambda t: 0.5 * 1.2 * area * float(gone.sol(t)[1]) ** 3, back, 0.0, epsabs=1e-14)[0]
    assert found["drag_loss"] == pytest.approx(work, rel=1e-8, abs=1e-13)
    # A cart that does what the forces say leaves nothing unaccounted for.
    assert found["unaccounted"] == pytest.approx(0.0, abs=1e-12)
    assert found["slope_from_motion"] == pytest.approx(angle, rel=1e-10)
    assert found["rolling_resistance"] == pytest.approx(mu, rel=1e-10)
    assert found["height"] == pytest.approx(travel * math.sin(math.radians(angle)), rel=1e-12)


def _at(crossing: Any) -> Any:
    def event(_: float, y: Floats) -> float:
        return float(crossing(y))

    event.terminal = True  # type: ignore[attr-defined]
    return event


@pytest.mark.parametrize("seen", [True, False])
def test_the_account_adds_up_whatever_goes_in(seen: bool) -> None:
    """kinetic + rotational = potential + rolling + drag + unaccounted, for values that do not belong together."""
    rng = np.random.default_rng(5)
    v: dict[str, Any] = {name: value * rng.uniform(0.7, 1.4, 500) for name, value in ideal(0.006, 0.4).items()}
    v["cart.rolling_resistance"] = rng.uniform(0.0, 0.02, 500)
    found = model_of(0.007, descent_seen=seen)(v)
    whole = found["kinetic_energy"] + found["rotational_energy"]
    spent = found["potential_energy"] + found["rolling_loss"] + found["drag_loss"] + found["unaccounted"]
    assert whole == pytest.approx(spent, rel=1e-13)
    assert found["difference"] == pytest.approx(whole - found["potential_energy"], rel=1e-13)
    assert found["relative_difference"] == pytest.approx(found["difference"] / whole, rel=1e-13)


def test_the_model_gives_every_quantity_once_and_in_order() -> None:
    v = ideal(0.006, 0.4) | {"fit.apex_2": 0.25, "fit.apex_3": 0.15}
    found = ledger(v, hops=3)
    assert list(found) == [name for name in UNITS if name != "restitution"] + ["restitution_1", "restitution_2"]
    assert list(ledger(v, hops=1)) == list(UNITS)[:-1]


def test_restitution_takes_friction_and_drag_out() -> None:
    """Speeds into and out of a bounce at the release level, integrated, whatever is lost on the way."""
    v = ideal(0.008, 0.40, **{"cart.drag_area": 0.1})
    v["fit.apex_2"] = 0.013 + 0.21
    k = drag_constant(v)
    speeds = []
    for a, sign, height in ((v["fit.descent"], 1.0, 0.40), (v["fit.climb"], -1.0, 0.21)):
        fallen = solve_ivp(
            lambda _, y, a=a, sign=sign: [y[1], -a + sign * k * y[1] ** 2], (0.0, sign * 5.0), [0.0, 0.0], method="DOP853",
            rtol=1e-12, atol=1e-14, events=_at(lambda y, height=height: y[0] + height),
        )  # fmt: skip
        speeds.append(abs(float(fallen.y_events[0][0][1])))
    assert ledger(v, hops=2)["restitution_1"] == pytest.approx(speeds[1] / speeds[0], rel=1e-9)


def test_without_a_descent_the_rolling_resistance_is_an_input() -> None:
    v = ideal(0.006, 0.4)
    seen = ledger(v)
    known = {name: value for name, value in v.items() if name != "fit.descent"} | {"cart.rolling_resistance": 0.006}
    unseen = ledger(known, descent_seen=False)
    assert {name: unseen[name] for name in seen} == pytest.approx(seen, rel=1e-9, abs=1e-12)


def test_a_fit_made_at_another_drag_is_carried_over() -> None:
    """The fitted values are followed along `by_drag` from the drag of the fit to that of the inputs, in the ranger's metres."""
    v = ideal(0.006, 0.4)
    by_drag = {"fit.climb": -0.4, "fit.descent": 0.35, "fit.apex_time": 0.002, "fit.apex_1": -0.01}
    k = drag_constant(v)
    moved = {name: np.asarray(value) for name, value in v.items()}
    found = ledger_model(hops=1, descent_seen=True, drag=k - 0.003, by_drag=by_drag)(moved)
    expected = ledger({**v, **{name: v[name] + 0.003 * slope for name, slope in by_drag.items()}})
    assert {name: float(value) for name, value in found.items()} == pytest.approx(expected, rel=1e-12)


# ------------------------------------------------------------------------------- what follows from it (DESIGN §4)


def inputs_of(v: Mapping[str, float], **u: float) -> tuple[list[Input], Block]:
    """Inputs and the block of the fit, with a standard uncertainty (dotted names with _ for the dot) where one is given."""
    fitted = [name for name in v if name.startswith("fit.")]
    inputs = [Input(name, v[name], "", u.get(name.replace(".", "__"), 0.0)) for name in v if name not in fitted]
    spread = np.diag([u.get(name.replace(".", "__"), 1e-12) ** 2 for name in fitted])
    return inputs, Block(tuple(fitted), np.array([v[name] for name in fitted]), spread)


def sensitivity(v: Mapping[str, float], output: str, name: str) -> float:
    inputs, block = inputs_of(v, **{name.replace(".", "__"): 1e-3})
    found = propagate(model_of(drag_constant(v)), inputs, (block,))
    return float(found.sensitivities[found.index(output), found.inputs.index(name)])


@pytest.mark.parametrize("output", ["relative_difference", "slope_from_motion", "rolling_resistance", "release_speed"])
def test_the_mass_cancels_but_for_the_drag(output: str) -> None:
    without = ideal(0.006, 0.4, **{"cart.drag_area": 0.0})
    assert sensitivity(without, output, "cart.mass") == pytest.approx(0.0, abs=1e-14)
    # What is left goes with the drag, which is in 1/m: a part in a few hundred.
    some = ideal(0.006, 0.4)
    found = ledger(some)
    drag = found["drag_loss"] / (found["kinetic_energy"] + found["rotational_energy"])
    assert 0.001 < drag < 0.005
    scale_of = {"relative_difference": 1.0, "slope_from_motion": 10.0, "rolling_resistance": 0.006, "release_speed": 1.17}[output]
    assert abs(sensitivity(some, output, "cart.mass")) * 0.25 / scale_of < 1.1 * drag


def test_the_mass_moves_the_ratio_by_the_drag_alone() -> None:
    """1 − PE/E with E/m ∝ e^2kh − 1 ≈ 2kh(1 + kh) and k ∝ 1/m: d/d ln m = −kh·PE/E, kh being the drag's share of the energy."""
    v = ideal(0.006, 0.4)
    found = ledger(v)
    whole = found["kinetic_energy"] + found["rotational_energy"]
    expected = -found["drag_loss"] / whole * found["potential_energy"] / whole
    assert sensitivity(v, "relative_difference", "cart.mass") * 0.25 == pytest.approx(expected, rel=0.01)


def test_energies_go_with_the_mass() -> None:
    v = ideal(0.006, 0.4, **{"cart.drag_area": 0.0})
    for output in ("kinetic_energy", "potential_energy", "rotational_energy", "rolling_loss", "difference"):
        assert sensitivity(v, output, "cart.mass") == pytest.approx(ledger(v)[output] / 0.25, rel=1e-12)


def test_a_scale_error_counts_twice_in_kinetic_and_once_in_potential_energy() -> None:
    """REFERENCES §4, derived: a distance scale wrong by ε makes KE wrong by 2ε, mgx·sinθ by ε."""
    v = ideal(0.006, 0.4, **{"cart.drag_area": 0.0})
    found = ledger(v)
    for output, times in [("kinetic_energy", 2.0), ("rotational_energy", 2.0), ("potential_energy", 1.0), ("release_speed", 1.0)]:
        assert sensitivity(v, output, "sensor.scale") == pytest.approx(times * found[output], rel=1e-12)
    # With 1.8 K of air temperature on a bench without friction (ε = 0.32 %), a loss of ε appears that is no physics.
    still, warmed = ideal(0.0, 0.4, **{"cart.drag_area": 0.0}), 1.0032
    assert ledger({**still, "sensor.scale": warmed})["relative_difference"] == pytest.approx(1.0 - 1.0 / warmed, rel=1e-9)


@pytest.mark.parametrize(("angle", "percent"), [(3.0, 17), (5.0, 10), (10.0, 5)])
def test_half_a_degree_of_slope(angle: float, percent: int) -> None:
    """BENCH_FACTS [C]: ±0.5° of slope is 17 % of the potential energy at 3°, 10 % at 5°, 5 % at 10°; cot θ per radian."""
    v = ideal(0.005, 0.4, **{"track.angle": angle})
    relative = sensitivity(v, "potential_energy", "track.angle") / ledger(v)["potential_energy"]
    assert relative == pytest.approx(math.radians(1.0) / math.tan(math.radians(angle)), rel=1e-12)
    assert round(100.0 * 0.5 * relative) == percent


def test_height_over_length() -> None:
    """BENCH_FACTS [C]: 1 mm of rise and 1 mm of length over 1 m is 1.6 % at 5°; each alone is u/rise, u/along."""
    v = ideal(0.005, 0.4, **{"track.angle": 5.0})
    rise = math.sin(math.radians(5.0))
    measured = {name: value for name, value in v.items() if name != "track.angle"} | {"track.rise": rise, "track.along": 1.0}
    assert ledger(measured) == pytest.approx(ledger(v), rel=1e-9, abs=1e-12)
    potential = ledger(v)["potential_energy"]
    by_rise, by_along = (sensitivity(measured, "potential_energy", name) for name in ("track.rise", "track.along"))
    assert by_rise == pytest.approx(potential / rise, rel=1e-12)
    assert by_along == pytest.approx(-potential, rel=1e-12)
    # A metre stick read to ±1 mm at both of its ends (±√2 mm in the rise) is the 1.6 % of the table.
    assert 100.0 * by_rise * 0.001 * math.sqrt(2.0) / potential == pytest.approx(1.6, abs=0.05)


@pytest.mark.parametrize(("angle", "percent"), [(5.0, 5.7), (3.0, 9.5)])
def test_rolling_loss_over_potential_energy(angle: float, percent: float) -> None:
    """BENCH_FACTS [C]: (KE − PE)/PE = μ/tan θ is 5.7 % at 5° and 9.5 % at 3° for μ = 0.005."""
    found = ledger(ideal(0.005, 0.4, **{"track.angle": angle, "cart.drag_area": 0.0, "cart.rotating_fraction": 0.0}))
    share = (found["kinetic_energy"] - found["potential_energy"]) / found["potential_energy"]
    assert share == pytest.approx(0.005 / math.tan(math.radians(angle)), rel=1e-12)
    assert round(100.0 * share, 1) == percent


def test_drag_is_below_half_a_per_cent_of_the_energy() -> None:
    """BENCH_FACTS [C]: below 0.5 % of the energy at 1 m/s."""
    v = ideal(0.005, 0.35, **{"track.angle": 8.0, "cart.mass": 0.5})
    found = ledger(v)
    assert found["release_speed"] == pytest.approx(1.0, abs=0.02)
    assert 0.0005 < found["drag_loss"] / found["kinetic_energy"] < 0.005


# ------------------------------------------------------------------------------------------ a textbook's launches


def test_spring_launched_car_of_a_textbook() -> None:
    """REFERENCES M1: OpenStax College Physics 7.4: 250.0 N/m, 4.00 cm, 0.100 kg: 2.00 m/s; 0.687 m/s after rising 0.180 m."""
    energy = 0.5 * 250.0 * 0.0400**2
    height = energy / (0.100 * 9.80)
    for angle in (5.0, 20.0):
        changes = {
            "cart.mass": 0.100, "cart.rotating_fraction": 0.0, "cart.drag_area": 0.0, "place.gravity": 9.80, "track.angle": angle,
        }  # fmt: skip
        found = ledger(ideal(0.0, height / math.sin(math.radians(angle)), **changes))
        assert found["release_speed"] == pytest.approx(2.00, abs=0.005)
        assert found["kinetic_energy"] == pytest.approx(0.200, abs=0.0005)
        assert found["relative_difference"] == pytest.approx(0.0, abs=1e-12)
        # What is left of the climb at a height of 0.180 m is itself a launch, from there to the same apex.
        rest = ledger(ideal(0.0, (height - 0.180) / math.sin(math.radians(angle)), **changes))
        assert rest["release_speed"] == pytest.approx(0.687, abs=0.0005)


def test_sliding_player_of_a_textbook() -> None:
    """REFERENCES M2: OpenStax College Physics 7.5: 65.0 kg at 6.00 m/s against 450 N of friction up 5.00° stops after 2.31 m."""
    mu = 450.0 / (65.0 * 9.80 * math.cos(math.radians(5.0)))
    changes = {
        "cart.mass": 65.0, "cart.rotating_fraction": 0.0, "cart.drag_area": 0.0, "place.gravity": 9.80, "track.angle": 5.0,
    }  # fmt: skip
    found = ledger(ideal(mu, 2.31, **changes))
    assert found["release_speed"] == pytest.approx(6.00, abs=0.007)  # half a digit of 2.31 m is 0.2 % of the energy
    assert found["rolling_loss"] == pytest.approx(450.0 * 2.31, rel=1e-9)
    assert found["kinetic_energy"] == pytest.approx(0.5 * 65.0 * 6.00**2, rel=0.0025)
    assert found["unaccounted"] == pytest.approx(0.0, abs=1e-9)


# ------------------------------------------------------------------------- one function, two ways of propagation


def test_linear_and_monte_carlo_agree_for_small_uncertainties() -> None:
    """The same function on complex steps and on plain random draws: u agrees to 4 standard deviations of a standard deviation."""
    v = ideal(0.006, 0.4) | {"fit.apex_2": 0.25}
    u = {
        "cart__mass": 1e-4, "cart__rotating_fraction": 1e-3, "cart__drag_area": 1e-4, "track__angle": 0.02, "sensor__scale": 1e-3,
        "place__gravity": 1e-3, "place__air_density": 0.01, "fit__climb": 1e-3, "fit__descent": 1e-3, "fit__apex_time": 1e-4,
        "fit__apex_1": 1e-4, "fit__apex_2": 1e-4, "datum__level": 1e-4, "datum__offset": 1e-4,
    }  # fmt: skip
    inputs, block = inputs_of(v, **u)
    model, draws = model_of(drag_constant(v), hops=2), 40_000
    linear = propagate(model, inputs, (block,))
    drawn = monte_carlo(model, inputs, (block,), rng=np.random.default_rng(17), draws=draws, sampler="plain")
    assert drawn.outputs == linear.outputs
    assert drawn.u == pytest.approx(linear.u, rel=4.0 / math.sqrt(2.0 * draws) + 2e-3)
    assert np.all(np.abs(drawn.mean - linear.values) <= 4.5 * linear.u / math.sqrt(draws) + 0.01 * linear.u)


def test_draws_beyond_the_possible_stay_finite() -> None:
    """A draw in which the apex lies below the release has no speed and no time; a slope beyond 90° is 90°."""
    v: dict[str, Any] = {name: np.full(3, value) for name, value in ideal(0.006, 0.4).items()}
    v["fit.apex_1"] = np.array([0.4, 0.005, 0.4])
    v["fit.climb"] = np.array([1.7, 1.7, 40.0])
    found = model_of(0.007)(v)
    assert found["release_speed"][1] == 0.0
    assert found["slope_from_motion"][2] == pytest.approx(90.0)
    for name in ("release_speed", "release_time", "slope_from_motion", "kinetic_energy", "difference"):
        assert np.isfinite(found[name]).all(), name


def test_draws_with_the_apex_below_the_release_have_no_climb() -> None:
    v = ideal(0.01, 0.4, **{"cart.drag_area": 0.05})
    k = drag_constant(v)
    moved = {name: np.array([value, value]) for name, value in v.items()}
    # With drag enough that the exact form is used, and a release above the apex in the first of two draws.
    moved["datum.level"] = moved["datum.level"] + np.array([2.0, 0.0])
    found = model_of(k)(moved)
    assert np.isfinite(found["release_time"]).all()
    assert found["release_time"][0] == found["apex_time"][0] and found["release_time"][1] < found["apex_time"][1]


@pytest.mark.parametrize("k", [1e-9, 0.02, 0.0249, 0.0251, 0.03, 0.5])
def test_the_functions_of_the_drag_are_smooth(k: float) -> None:
    """Energy at release and climb time against their closed forms (a/2k)(e^2kh − 1)·m and arccos(e^−kh)/√(ak), k small or not."""
    v = ideal(0.006, 0.4)
    a, h = v["fit.climb"], v["fit.apex_1"] - 0.013
    area = k * (1.0 + v["cart.rotating_fraction"]) * v["cart.mass"] / (0.5 * 1.2)
    found = ledger({**v, "cart.drag_area": area})
    growth = math.expm1(2.0 * k * h) / (2.0 * k)
    assert found["kinetic_energy"] == pytest.approx(0.5 * 0.25 * 2.0 * a * growth, rel=1e-11)
    if k > 1e-6:
        assert 2.0 - found["release_time"] == pytest.approx(math.acos(math.exp(-k * h)) / math.sqrt(a * k), rel=1e-7)
        assert found["drag_loss"] == pytest.approx(0.5 * 1.2 * area * a / k * (growth - h), rel=1e-8)
    else:
        assert 2.0 - found["release_time"] == pytest.approx(math.sqrt(2.0 * h / a), rel=1e-8)


# --------------------------------------------------------------------------------------- the experiment's own table


def test_either_way_of_stating_place_and_scale() -> None:
    """REFERENCES G2 (40 CFR 1065.630: 9.8061992026 m/s² at 45°) and §4 (Cramer, 20 °C and 50 % against 20 °C dry)."""
    at = {"place.latitude": np.asarray(45.0), "place.altitude": np.asarray(0.0)}
    assert float(gravity(at)) == pytest.approx(9.8061992026, abs=1e-8)
    assert float(gravity({"place.gravity": np.asarray(9.7)})) == 9.7
    air = {"sensor.air_temperature": 20.0, "sensor.humidity": 0.5, "sensor.assumed_temperature": 20.0}
    assert float(scale({name: np.asarray(value) for name, value in air.items()})) == pytest.approx(343.987 / 343.359, abs=2e-5)
    assert float(scale({"sensor.scale": np.asarray(1.004)})) == 1.004


def test_expected_fall() -> None:
    """a = g·sinθ/(1+κ), REFERENCES M12: a hoop (κ = 1) comes down half as fast as it would slide."""
    v = {"track.angle": 30.0, "place.gravity": 9.80, "cart.rotating_fraction": 0.0}
    assert expected_fall(v) == pytest.approx(4.90)
    assert expected_fall({**v, "cart.rotating_fraction": 1.0}) == pytest.approx(2.45)
    assert expected_fall({**v, "cart.rotating_fraction": 0.5}) == pytest.approx(4.90 * 2 / 3)


def test_the_drag_constant_and_its_uncertainty() -> None:
    """k = ½ρA/(m(1+κ)); relative uncertainties of ρ, A and m add in squares (GUM 5.1.6)."""
    v = {
        "cart.mass": (0.25, 0.001), "cart.rotating_fraction": (0.02, 0.0), "cart.drag_area": (0.003, 0.0015),
        "place.air_density": (1.2, 0.03),
    }  # fmt: skip
    inputs = {name: Input(name, value, "", u) for name, (value, u) in v.items()}
    k, u = RAMP_LAUNCH.drag(inputs)
    assert k == pytest.approx(0.5 * 1.2 * 0.003 / (0.25 * 1.02), rel=1e-12)
    assert u == pytest.approx(k * math.sqrt(0.5**2 + 0.025**2 + 0.004**2), rel=1e-12)
    nothing = {**inputs, "cart.drag_area": Input("cart.drag_area", 0.0, "m^2", 0.0015)}
    k, u = RAMP_LAUNCH.drag(nothing)
    assert k == 0.0
    assert u == pytest.approx(0.5 * 1.2 * 0.0015 / 0.25, rel=0.03)


def test_the_experiment_is_registered() -> None:
    assert get_experiment("ramp-launch") is RAMP_LAUNCH is EXPERIMENTS["ramp-launch"]
    with pytest.raises(KeyError):
        get_experiment("no-such-experiment")
    assert RAMP_LAUNCH.units is UNITS
    (rolling,) = RAMP_LAUNCH.unseen
    # Common practice, no source: coefficients of lab carts lie between 0.002 and 0.010, half-width 0.004 about the middle.
    half = rolling.u * math.sqrt(3.0)
    assert (rolling.value - half, rolling.value + half) == pytest.approx((0.002, 0.010))


@pytest.mark.parametrize(
    ("rise", "along", "told"),
    [(0.5, 0.3, "track.rise (0.5 m) is 0.2 m more than track.along (0.3 m)"), (0.3, 0.3, "(0.3 m) is as much as track.along")],
)
def test_a_rise_that_no_track_has_names_both_lengths(rise: float, along: float, told: str) -> None:
    """A bench made in memory passes no reader; the error names the two inputs, not the root that would fail on them."""
    bench = bench_of(record_of(ride()))
    lengths = {name: Input(name, value, "m", 0.001) for name, value in (("track.rise", rise), ("track.along", along))}
    others = {name: item for name, item in bench.inputs.items() if name != "track.angle"}
    with pytest.raises(InputError) as caught:
        audit_bench(replace(bench, inputs={**others, **lengths}), method="linear")
    assert told in caught.value.message
    assert "swapped" in caught.value.remedy
