"""What a plan says in tables and short texts, for the page, the paper and the terminal alike."""

from __future__ import annotations

from collections.abc import Callable

from joulebook.experiments.ramp_kit import KIT_SPECS
from joulebook.experiments.ramp_plan import Assignment, Change, Forecast, Plan
from joulebook.render.contents import Table
from joulebook.render.numbers import number
from joulebook.render.plain import clean_text
from joulebook.render.words import input_words

__all__ = [
    "LEAST_ODDS", "PLAN_READER", "PLAN_TITLE", "bench_table", "budget_table", "change_table", "check_sentence", "class_sentence",
    "kit_table", "odds", "odds_table", "prediction_table", "slope_table", "weak_sentence",
]  # fmt: skip

PLAN_TITLE = "Plan for the ramp lab"
PLAN_READER = "For the teacher only: it tells what the class is to find"
LEAST_ODDS = 0.8
"""Probability of seeing its loss below which a bench is named as weak."""


def odds(probability: float) -> str:
    """Return a probability in whole per cent, the ends in words."""
    if probability < 0.005:
        return "hardly any"
    return "nearly all" if probability > 0.995 else f"{100 * probability:.0f} %"


def odds_table(plan: Plan) -> Table:
    """Return the odds of each verdict, as recommended and as the kit is used today."""
    words = {
        "loss": "a loss is seen", "conserved": f"energy conserved within {100 * plan.tolerance:g} %",
        "undecided": "this kit cannot tell", "gain": "the cart seems to gain energy",
    }  # fmt: skip
    account = {
        "closed": "known losses account for it",
        "open": "something is left over",
        "undecided": "whether they do cannot be told",
    }
    rows = [(words[key], odds(plan.recommended.mechanical[key]), odds(plan.today.mechanical[key])) for key in words]
    rows += [(account[key], odds(plan.recommended.account[key]), odds(plan.today.account[key])) for key in account]
    return Table(
        "How many such benches will come to which verdict", ("Verdict", "As recommended", _today(plan)), tuple(rows), (1, 2)
    )


def prediction_table(plan: Plan) -> Table:
    """Return what the recommended set-up should give, beside the kit as it is used today."""
    lines: list[tuple[str, Callable[[Forecast], str]]] = [
        ("travel from release to the highest point", lambda f: f"{100 * f.travel:.0f} cm"),
        ("height gained", lambda f: f"{100 * f.height:.1f} cm"),
        ("time up", lambda f: f"{f.time_up:.2f} s"),
        ("samples on the climb; in all", lambda f: f"{f.on_climb:.0f}; {f.samples:.0f}"),
        ("nearest to the ranger", lambda f: f"{100 * f.nearest:.0f} cm"),
        ("room left by a strong launch", lambda f: f"{100 * f.room:.0f} cm"),
        ("kinetic energy at release", lambda f: _with_u(f.kinetic, f.u_kinetic)),
        ("potential energy gained", lambda f: _with_u(f.potential, f.u_potential)),
        ("expected loss, of the energy at release", lambda f: _percent(f.loss)),
        ("its standard uncertainty u", lambda f: _percent(f.u_loss)),
        ("smallest loss that could be shown (95 %)", lambda f: _percent(f.resolution)),
        ("expected loss over u", lambda f: f"{f.ratio:.1f}"),
    ]
    rows = tuple((label, tell(plan.recommended), tell(plan.today)) for label, tell in lines)
    return Table("What to expect", ("", "As recommended", _today(plan)), rows, (1, 2))


def budget_table(plan: Plan) -> Table:
    """Return what the uncertainty of the relative difference is made of."""
    lines = [line for line in plan.recommended.budget if line.share >= 0.0005]
    rows = tuple((input_words(line.input).label, _percent(line.contribution), f"{100 * line.share:.1f} %") for line in lines)
    return Table(
        "What the uncertainty of the relative difference is made of",
        ("Influence", "Contribution", "Share of the variance"),
        rows,
        (1, 2),
    )


def change_table(plan: Plan) -> Table:
    """Return what each single change does, from today's set-up and from the recommended one."""
    rows = [_change_row(change, "today") for change in plan.changes if change.after < 0.995 * change.before]
    rows += [_change_row(change, "recommended") for change in plan.further]
    caption = "One change at a time: the smallest loss that could be shown"
    return Table(caption, ("Change", "From", "Before", "After", "Loss over u"), tuple(rows), (2, 3, 4))


def slope_table(plan: Plan) -> Table:
    """Return by how much each way of measuring the slope lets the height be wrong, at each slope."""
    methods = plan.kit.methods
    rows = tuple(
        (f"{angle:g}°", *(f"± {100 * method.relative_limits(angle):.2g} %" for method in methods)) for angle in plan.kit.angles
    )
    headings = ("Slope", *(clean_text(method.name) for method in methods))
    return Table("What the slope's measurement does to the height", headings, rows, tuple(range(1, len(methods) + 1)))


def bench_table(plan: Plan) -> Table:
    """Return the benches with their own set-ups."""
    rows = tuple(
        (
            clean_text(item.title), f"{item.forecast.set_up.angle:g}°", f"{item.forecast.set_up.speed:.2f} m/s",
            f"{100 * item.forecast.set_up.stroke:.1f} cm", f"{100 * item.forecast.travel:.0f} "
            f"cm", f"{item.forecast.kinetic:.3f} J",
            f"{100 * item.forecast.loss:.1f} ± {100 * item.forecast.resolution:.1f} %",
            _odds_of(item),
        )
        for item in plan.assignments
    )  # fmt: skip
    headings = ("Bench", "Slope", "Launch", "Plunger cocked by", "Travel", "Kinetic energy", "Expected loss", "See the loss")
    return Table("The benches", headings, rows, tuple(range(1, 8)))


def weak_sentence(plan: Plan) -> str:
    """Return which benches are likely to miss the loss, and what they will find instead; "" where none is."""
    weak = [item for item in plan.assignments if _is_weak(item)]
    if not weak:
        return ""
    told = []
    for item in weak:
        chance, angle = item.forecast.mechanical, item.forecast.set_up.angle
        cannot = f", and cannot tell in {100 * chance['undecided']:.0f} %" if chance["undecided"] >= 0.005 else ""
        told.append(
            f"{clean_text(item.title)} ({angle:g}°) sees its loss in {100 * chance['loss']:.0f} % of cases, finds energy "
            f"conserved within {100 * plan.tolerance:g} % in {100 * chance['conserved']:.0f} %{cannot}"
        )
    them = "It stands there" if len(weak) == 1 else "They stand there"
    return (
        f"Low, below {100 * LEAST_ODDS:.0f} %: {'; '.join(told)}. {them} for the spread of the slopes in the class’s "
        "line; give a less steep slope to a group that must see the loss on its own bench."
    )


def class_sentence(plan: Plan) -> str:
    """Return what the class together can show; "" where there are too few benches."""
    result = plan.class_result
    if result is None:
        return ""
    text = (
        f"Drawn against 1/tanθ, from {result.low:.1f} to {result.high:.1f}, the losses of the {len(plan.assignments)} "
        f"benches lie on a line "
        f"whose slope is the rolling resistance: {result.expected:.4f} ± {2 * result.u:.4f} (95 %) should come out."
    )
    if result.separation > 1.0:
        return (
            f"{text} The energies of any two benches differ by at least {result.separation:.1f} times the uncertainty of their "
            "difference, so a copied report fits no other bench."
        )
    return (
        f"{text} Two benches lie closer together than the uncertainty of their difference ({result.separation:.1f} times it): "
        "their reports could be exchanged unseen."
    )


def check_sentence(plan: Plan) -> str:
    """Return how the Monte Carlo check came out; "" where there was none."""
    check = plan.check
    if check is None:
        return ""
    share, asked = check.mechanical, plan.recommended.mechanical
    failed = f" {check.failed} gave no ledger." if check.failed else ""
    return (
        f"{check.benches} such benches were simulated from their forces and audited (seed {check.seed}): their errors scatter by "
        f"{_percent(check.scatter)}, the audits state u = {_percent(check.u_stated)}, the plan says "
        f"{_percent(check.u_predicted)}. A loss was "
        f"seen on {odds(share['loss'])} (planned {odds(asked['loss'])}), the account closed on {odds(check.account['closed'])} "
        f"(planned {odds(plan.recommended.account['closed'])}).{failed}"
    )


def kit_table(plan: Plan) -> Table:
    """Return what the plan took for the kit, and which of it was left to the defaults."""
    kit = plan.kit
    inputs = {
        item.name: item
        for item in (
            *kit.masses[:1],
            kit.rotating_fraction,
            kit.drag_area,
            kit.rolling_resistance,
            kit.scale,
            kit.gravity,
            kit.air_density,
        )
    }
    plain = {
        "track.length": f"{kit.track_length:g} m", "track.start": f"{kit.start:g} m", "launch.repeat": f"{100 * kit.repeat:g} %",
        "launch.speeds": ", ".join(f"{each:g}" for each in kit.speeds) + " "
        "m/s", "launch.stiffness": "–" if kit.stiffness is None else f"{kit.stiffness:g} N/m",
        "launch.strokes": ", ".join(f"{100 * each:g}" for each in kit.strokes) + " cm",
        "launch.numbers": ", ".join(map(str, kit.numbers)),
        "launch.restitution": f"{kit.restitution:g}", "launch.flights": str(kit.flights),
        "sensor.rates": ", ".join(f"{each:g}" for each in kit.rates) + " per s", "sensor.noise": f"{1000 * kit.noise:g} mm",
        "sensor.step": f"{1000 * kit.step:g} mm", "sensor.min_range": f"{kit.min_range:g} "
        "m", "sensor.max_range": f"{kit.max_range:g} m",
        "sensor.placed": kit.placed, "sensor.behind": f"{kit.behind:g} m", "angle.angles": ", "
        "".join(f"{each:g}" for each in kit.angles) + " deg",
        "class.benches": str(kit.benches), "class.period": f"{kit.period:g} min", "class.launch_time": f"{kit.launch_time:g} min",
        "cart.mass": ", ".join(f"{item.value:g} kg ± {item.u * 3**0.5:.2g} kg" for item in kit.masses),
    }  # fmt: skip
    rows = []
    for spec in KIT_SPECS:
        if (spec.name == "launch.speeds") == bool(kit.strokes) and spec.name in (
            "launch.speeds",
            "launch.strokes",
            "launch.stiffness",
        ):
            continue
        if spec.name in ("launch.strokes", "launch.stiffness") and not kit.strokes:
            continue
        item = inputs.get(spec.name)
        text = plain.get(spec.name) or (
            "" if item is None else f"{item.value:g} ± {item.u * 3**0.5:.2g}{'' if item.unit == '1' else ' ' + item.unit}"
        )
        rows.append(
            (
                spec.meaning.partition(";")[0],
                text.replace("m^2", "m²").replace("s^2", "s²").replace("m^3", "m³"),
                "default" if spec.name in kit.defaults else "given",
            )
        )
    return Table("The kit, as the plan takes it", ("Entry", "Value", "Origin"), tuple(rows))


def _change_row(change: Change, start: str) -> tuple[str, ...]:
    what = clean_text(change.what)
    return (
        what[:1].upper() + what[1:], start, _percent(change.before), _percent(change.after),
        f"{change.ratio_before:.1f} → {change.ratio_after:.1f}",
    )  # fmt: skip


def _is_weak(item: Assignment) -> bool:
    return item.forecast.mechanical["loss"] < LEAST_ODDS


def _odds_of(item: Assignment) -> str:
    chance = odds(item.forecast.mechanical["loss"])
    return f"{chance}, low" if _is_weak(item) else chance


def _today(plan: Plan) -> str:
    start = plan.today.set_up
    return f"Today: {clean_text(start.method.name)}, {'one launch' if start.launches == 1 else f'{start.launches} launches'}"


def _percent(value: float) -> str:
    return f"{number(100 * value, 2)} %"


def _with_u(value: float, u: float) -> str:
    from joulebook.uncertainty.rounding import write

    return f"{write(value, u, style='brackets')} J"
