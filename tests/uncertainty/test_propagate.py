"""Linear propagation against the GUM's own examples, other libraries and derivatives that are known."""

from __future__ import annotations

import math
from dataclasses import replace

import mpmath
import numpy as np
import pytest

from joulebook.errors import AnalysisError, InputError
from joulebook.uncertainty import Block, Input, propagate, simultaneous_readings
from joulebook.uncertainty.propagate import coverage_factors, differentiate

# U1: JCGM 100:2008, H.1, the end gauge. Micrometres here become nanometres; each uncertainty with its degrees of freedom.
# The three components of d are put together as H.1.3.2 does, which gives 25.6 degrees of freedom.
GAUGE = (
    Input("l_s", 50_000_623.0, "nm", 25.0, "t", dof=18.0),
    Input("d", 215.0, "nm", 9.7, "t", dof=25.6),
    Input("delta_alpha", 0.0, "1/degC", 0.58e-6, "rectangular", dof=50.0),
    Input("theta", -0.1, "degC", 0.41, "arcsine"),
    Input("alpha_s", 11.5e-6, "1/degC", 1.2e-6, "rectangular"),
    Input("delta_theta", 0.0, "degC", 0.029, "rectangular", dof=2.0),
)


def gauge(x):
    return {"l": x["l_s"] + x["d"] - x["l_s"] * (x["delta_alpha"] * x["theta"] + x["alpha_s"] * x["delta_theta"])}


# U2: JCGM 100:2008, H.2, Table H.2: five simultaneous readings of voltage (V), current (A) and phase (rad).
READINGS = np.array(
    [
        [5.007, 4.994, 5.005, 4.990, 4.999],
        [0.019663, 0.019639, 0.019640, 0.019685, 0.019678],
        [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
    ]
)


def impedance(x):
    ratio = x["V"] / x["I"]
    return {"R": ratio * np.cos(x["phi"]), "X": ratio * np.sin(x["phi"]), "Z": ratio}


class TestGum:
    def test_end_gauge(self):
        result = propagate(gauge, GAUGE, coverage=0.99, truncate_dof=True)
        assert result.values[0] == pytest.approx(50_000_838.0, abs=0.5)
        assert result.u[0] == pytest.approx(32.0, abs=0.5)
        assert math.floor(result.dof[0]) == 16
        # The GUM's 92 or 93: from ν = 16, k = 2.92.
        assert result.k[0] == pytest.approx(2.92, abs=0.005)
        assert result.k[0] * result.u[0] == pytest.approx(93.0, abs=1.0)
        contributions = {line.input: line.contribution for line in result.budget("l")}
        published = {"l_s": 25.0, "d": 9.7, "delta_alpha": 2.9, "delta_theta": 16.6, "theta": 0.0, "alpha_s": 0.0}
        assert contributions == pytest.approx(published, abs=0.1)

    def test_simultaneous_resistance_and_reactance(self):
        block = simultaneous_readings(("V", "I", "phi"), READINGS)
        assert block.values == pytest.approx([4.9990, 0.0196610, 1.04446], abs=1e-8)
        u = np.sqrt(block.covariance.diagonal())
        assert u == pytest.approx([0.0032, 0.0000095, 0.00075], rel=0.02)
        correlation = block.covariance / np.outer(u, u)
        assert correlation[0, 1] == pytest.approx(-0.36, abs=0.006)
        assert correlation[0, 2] == pytest.approx(0.86, abs=0.006)
        assert correlation[1, 2] == pytest.approx(-0.65, abs=0.006)
        result = propagate(impedance, (), [block])
        assert result.values == pytest.approx([127.732, 219.847, 254.260], abs=0.001)
        assert result.u == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
        between = result.correlation()
        assert between[0, 1] == pytest.approx(-0.588, abs=0.001)
        assert between[0, 2] == pytest.approx(-0.485, abs=0.001)
        assert between[1, 2] == pytest.approx(0.993, abs=0.001)
        # A block is one component with its own degrees of freedom (five readings).
        assert result.dof == pytest.approx([4.0, 4.0, 4.0], rel=1e-12)
        assert [line.input for line in result.budget("R")] == ["simultaneous readings"]

    def test_simultaneous_readings_taken_as_independent(self):
        # H.2.4, Table H.4 as cited in U2: what ignoring the correlations would give (published values from memory).
        block = simultaneous_readings(("V", "I", "phi"), READINGS)
        u = np.sqrt(block.covariance.diagonal())
        inputs = [Input(name, value, "1", s) for name, value, s in zip(block.names, block.values, u, strict=True)]
        assert propagate(impedance, inputs).u == pytest.approx([0.195, 0.201, 0.204], abs=6e-4)

    def test_correlations_give_what_a_block_gives(self):
        block = simultaneous_readings(("V", "I", "phi"), READINGS)
        u = np.sqrt(block.covariance.diagonal())
        r = block.covariance / np.outer(u, u)
        inputs = [Input(n, v, "1", s, "t", dof=4.0) for n, v, s in zip(block.names, block.values, u, strict=True)]
        pairs = {("V", "I"): r[0, 1], ("phi", "V"): r[0, 2], ("I", "phi"): r[1, 2]}
        single, whole = propagate(impedance, inputs, correlations=pairs), propagate(impedance, (), [block])
        assert single.covariance == pytest.approx(whole.covariance, rel=1e-9)
        assert single.dof == pytest.approx(whole.dof, rel=1e-9)
        for output in ("R", "X", "Z"):
            assert sum(line.share for line in single.budget(output)) == pytest.approx(1.0, abs=1e-12)

    def test_calibration_line(self):
        # U3: JCGM 100:2008, H.3, Table H.6: thermometer corrections, reference temperature 20 °C.
        t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
        b = -1e-3 * np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160])
        design = np.column_stack([np.ones(11), t - 20.0])
        solution, residual, *_ = np.linalg.lstsq(design, b)
        covariance = residual[0] / 9.0 * np.linalg.inv(design.T @ design)
        block = Block(("y1", "y2"), solution, covariance, dof=9.0)
        result = propagate(lambda x: {"b30": x["y1"] + x["y2"] * (x["t"] - 20.0)}, [Input("t", 30.0, "degC", 0.0)], [block])
        assert math.sqrt(residual[0] / 9.0) == pytest.approx(0.0035, abs=5e-5)
        assert result.values[0] == pytest.approx(-0.1494, abs=5e-5)
        assert result.u[0] == pytest.approx(0.0041, abs=5e-5)
        assert result.dof[0] == pytest.approx(9.0, rel=1e-12)

    def test_welch_satterthwaite(self):
        # U5: JCGM 100:2008, G.4.1, example: relative u 0.25, 0.57, 0.82 % from 10, 5 and 15 readings.
        inputs = [Input(n, 1.0, "1", u, "t", dof=d) for n, u, d in (("a", 0.25, 9), ("b", 0.57, 4), ("c", 0.82, 14))]
        result = propagate(lambda x: {"y": x["a"] + x["b"] + x["c"]}, inputs, truncate_dof=False)
        assert result.u[0] == pytest.approx(1.03, abs=0.005)
        assert result.dof[0] == pytest.approx(19.0, abs=0.05)
        assert result.k[0] == pytest.approx(2.09, abs=0.005)
        assert result.k[0] * result.u[0] == pytest.approx(2.2, abs=0.05)

    @pytest.mark.parametrize(
        ("nu", "published"),
        [
            # U6: JCGM 100:2008, Table G.2, p = 68.27, 90, 95, 95.45, 99, 99.73 %.
            (1, (1.84, 6.31, 12.71, 13.97, 63.66, 235.8)),
            (2, (1.32, 2.92, 4.30, 4.53, 9.92, 19.21)),
            (5, (1.11, 2.02, 2.57, 2.65, 4.03, 5.51)),
            (10, (1.05, 1.81, 2.23, 2.28, 3.17, 3.96)),
            (20, (1.03, 1.72, 2.09, 2.13, 2.85, 3.42)),
            (math.inf, (1.000, 1.645, 1.960, 2.000, 2.576, 3.000)),
        ],
    )
    def test_coverage_factors(self, nu, published):
        for p, k in zip((0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973), published, strict=True):
            # REFERENCES gives 235.8 with one decimal; all others have two.
            tolerance = 0.05 if k > 100.0 else 0.0051
            assert coverage_factors(np.array([nu], dtype=float), p)[0] == pytest.approx(k, abs=tolerance)

    def test_thermal_expansion(self):
        # U15: NIST TN 1900, E13: coefficient of linear thermal expansion of a copper bar.
        inputs = [Input("L0", 1.4999, "m", 1e-4), Input("L1", 1.5021, "m", 2e-4)]
        inputs += [Input("T0", 288.15, "K", 0.02), Input("T1", 373.10, "K", 0.05)]
        result = propagate(lambda x: {"a": (x["L1"] - x["L0"]) / (x["L0"] * (x["T1"] - x["T0"]))}, inputs)
        assert result.values[0] == pytest.approx(1.7266e-5, abs=1e-9)
        assert result.u[0] == pytest.approx(1.76e-6, abs=1e-8)

    def test_weight_of_ten_kilograms(self):
        # U18: EA-4/02, S2, in mg: 10.000 025 kg, 29.3 mg and 59 mg. The inputs were read, the results are from memory; a page
        # that was read prints 29.1 and 58 from a rounded 14.2 mg for the three readings.
        inputs = [
            Input("standard", 10_000_005.0, "mg", 22.5),
            Input("drift", 0.0, "mg", 15.0 / math.sqrt(3.0), "rectangular"),
            Input("difference", 20.0, "mg", 25.0 / math.sqrt(3.0)),
            Input("comparator", 0.0, "mg", 10.0 / math.sqrt(3.0), "rectangular"),
            Input("buoyancy", 0.0, "mg", 10.0 / math.sqrt(3.0), "rectangular"),
        ]
        result = propagate(lambda x: {"m": sum(x[item.name] for item in inputs)}, inputs)
        assert result.values[0] == pytest.approx(10_000_025.0, abs=0.5)
        assert result.u[0] == pytest.approx(29.3, abs=0.1)
        assert 2.0 * result.u[0] == pytest.approx(59.0, abs=0.6)

    def test_linear_results_of_supplement_1(self):
        four = [Input(name, 0.0, "1", 1.0) for name in "abcd"]

        def total(x):
            return {"y": x["a"] + x["b"] + x["c"] + x["d"]}

        # U8 and U9: JCGM 101:2008, 9.2.2 and 9.2.3: u 2.0, ± 3.92.
        assert propagate(total, four).high[0] == pytest.approx(3.92, abs=0.005)
        # U10: 9.2.4: u 10.1, ± 19.9.
        wide = propagate(total, [*four[:3], replace(four[3], u=10.0, distribution="rectangular")])
        assert (wide.u[0], wide.high[0]) == pytest.approx((10.1, 19.9), abs=0.05)
        # U14: NPL DEM-ES-011, 9.2: Y = ln X, X in [0.1, 1.1]: −0.511, 0.481.
        log = propagate(lambda x: {"y": np.log(x["x"])}, [Input("x", 0.6, "1", 0.5 / math.sqrt(3.0), "rectangular")])
        assert (log.values[0], log.u[0]) == pytest.approx((-0.511, 0.481), abs=5e-4)


class TestDerivatives:
    def test_against_mpmath(self):
        def model(x):
            return {"y": np.exp(np.sin(x["a"] * x["b"])) / np.sqrt(x["b"]) + np.log(np.cosh(x["a"])), "z": np.arctan(x["a"]) ** 3}

        inputs = [Input("a", 1.3, "1", 0.1), Input("b", 0.7, "1", 0.1)]
        result = propagate(model, inputs)
        exact = [
            [
                mpmath.diff(lambda a: mpmath.e ** mpmath.sin(a * 0.7) / mpmath.sqrt(0.7) + mpmath.log(mpmath.cosh(a)), 1.3),
                mpmath.diff(lambda b: mpmath.e ** mpmath.sin(1.3 * b) / mpmath.sqrt(b), 0.7),
            ],
            [mpmath.diff(lambda a: mpmath.atan(a) ** 3, 1.3), 0.0],
        ]
        assert result.sensitivities == pytest.approx(np.array(exact, dtype=float), rel=1e-13)

    def test_where_differences_would_lose_everything(self):
        # d/dx of (1 − cos x)/x² near 0 by a difference would be noise; the analytic value is sin x/x² − 2(1 − cos x)/x³.
        x = 1e-3
        _, _, slopes = differentiate(lambda m: {"y": 2.0 * np.sin(0.5 * m["x"]) ** 2}, ["x"], np.array([x]), np.array([True]))
        assert slopes[0, 0] == pytest.approx(math.sin(x), rel=1e-14)

    def test_zero_value_and_mixed_scales(self):
        inputs = [Input("small", 1e-12, "1", 1e-13), Input("nought", 0.0, "1", 1e-3), Input("large", 1e9, "1", 1.0)]
        result = propagate(lambda x: {"y": x["small"] * x["large"] + x["nought"] ** 2 + np.sin(x["nought"])}, inputs)
        assert result.sensitivities[0] == pytest.approx([1e9, 1.0, 1e-12], rel=1e-12)
        assert result.values[0] == pytest.approx(1e-3, rel=1e-12)

    def test_mass_cancels(self):
        inputs = [Input("m", 0.25, "kg", 0.01), Input("v", 1.0, "m/s", 0.01), Input("h", 0.05, "m", 0.001)]

        def model(x):
            kinetic, potential = 0.5 * x["m"] * x["v"] ** 2, x["m"] * 9.81 * x["h"]
            return {"ratio": potential / kinetic, "kinetic": kinetic}

        result = propagate(model, inputs)
        lines = {line.input: line for line in result.budget("ratio")}
        assert lines["m"].share < 1e-25
        assert {line.input: line.share for line in result.budget("kinetic")}["m"] == pytest.approx(0.8, rel=1e-9)


class TestShape:
    INPUTS = (
        Input("a", 2.0, "m", 0.1, "rectangular"),
        Input("c", 3.0, "1", 0.0, "constant"),
        Input("b", 1.0, "m", 0.0),
        Input("d", 4.0, "m", 0.2, "t", dof=7.0),
    )
    BLOCK = Block(("p", "q"), np.array([1.0, 2.0]), np.array([[0.04, 0.01], [0.01, 0.09]]), dof=12.0)

    @staticmethod
    def model(x):
        return {
            "sum": x["c"] * x["a"] + x["b"] + x["d"],
            "all": x["a"] + x["d"] + x["p"] * x["q"],
            "fixed": x["c"] * x["b"],
            "fit": x["p"] - x["q"],
        }

    def test_numbers_by_hand(self):
        result = propagate(self.model, self.INPUTS, [self.BLOCK])
        assert result.inputs == ("a", "c", "b", "d", "p", "q")
        assert result.outputs == ("sum", "all", "fixed", "fit")
        fit = 0.04 + 0.09 - 2 * 0.01
        product = 4 * 0.04 + 0.09 + 2 * 2 * 0.01
        assert result.u**2 == pytest.approx([0.09 + 0.04, 0.01 + 0.04 + product, 0.0, fit], abs=1e-15)
        assert result.dof[0] == pytest.approx(0.13**2 / (0.04**2 / 7.0), rel=1e-12)
        assert result.dof[1] == pytest.approx((0.05 + product) ** 2 / (0.04**2 / 7.0 + product**2 / 12.0), rel=1e-12)
        assert result.dof[2] == math.inf
        assert result.dof[3] == pytest.approx(12.0, rel=1e-12)
        assert result.covariance[0, 3] == 0.0
        assert result.covariance[1, 3] == pytest.approx(2 * 0.04 - 0.09 - 2 * 0.01 + 0.01, rel=1e-12)

    def test_budget(self):
        result = propagate(self.model, self.INPUTS, [self.BLOCK])
        lines = result.budget("all")
        assert [line.input for line in lines] == ["fit of the motion", "d", "a"]
        assert lines[0].sensitivity == 0.0
        assert lines[0].contribution == pytest.approx(math.sqrt(0.29), rel=1e-12)
        assert lines[1] == lines[1].__class__("d", 1.0, pytest.approx(0.2), pytest.approx(0.04 / 0.34))
        assert sum(line.share for line in lines) == pytest.approx(1.0, abs=1e-14)
        assert result.budgets()["all"] == lines
        assert all(line.share == 0.0 for line in result.budget("fixed"))

    def test_quantity(self):
        result = propagate(self.model, self.INPUTS, [self.BLOCK], coverage=0.9)
        quantity = result.quantity("all", "m")
        assert (quantity.value, quantity.unit, quantity.method, quantity.coverage) == (8.0, "m", "gum", 0.9)
        assert quantity.expanded == pytest.approx(result.k[1] * quantity.u, rel=1e-12)
        exact = result.quantity("fixed", "m")
        assert exact.low == exact.value == exact.high == 3.0
        with pytest.raises(InputError, match=r"no output 'nothing'\. It has sum, all, fixed, fit"):
            result.quantity("nothing", "m")

    def test_no_uncertainty_at_all(self):
        result = propagate(lambda x: {"y": 2.0 * x["a"], "one": 1.0}, [Input("a", 2.0, "1", 0.0)])
        assert result.values.tolist() == [4.0, 1.0]
        assert result.u.tolist() == [0.0, 0.0]
        assert result.budget("y") == ()

    def test_random_linear_models_against_the_matrix_formula(self):
        # GUM-S2 (JCGM 102), 6.2.1.3: U_y = C U_x Cᵀ.
        rng = np.random.default_rng(8)
        for _ in range(20):
            weights, root = rng.normal(size=(3, 5)), rng.normal(size=(2, 2))
            inputs = [Input(f"x{n}", rng.normal(), "1", rng.exponential(), dof=rng.uniform(2, 30)) for n in range(3)]
            block = Block(("b0", "b1"), rng.normal(size=2), root @ root.T, dof=9.0)
            names = [*(item.name for item in inputs), *block.names]

            def model(x, weights=weights, names=names):
                return {f"y{row}": sum(w * x[name] for w, name in zip(weights[row], names, strict=True)) for row in range(3)}

            result = propagate(model, inputs, [block])
            full = np.zeros((5, 5))
            full[:3, :3] = np.diag([item.u**2 for item in inputs])
            full[3:, 3:] = root @ root.T
            assert result.covariance == pytest.approx(weights @ full @ weights.T, rel=1e-12, abs=1e-14)
            assert result.sensitivities == pytest.approx(weights, rel=1e-12)
            for row in range(3):
                parts = [(weights[row, n] * inputs[n].u) ** 2 for n in range(3)]
                parts.append(weights[row, 3:] @ root @ root.T @ weights[row, 3:])
                dofs = [*(item.dof for item in inputs), 9.0]
                assert result.dof[row] == pytest.approx(
                    sum(parts) ** 2 / sum(p * p / d for p, d in zip(parts, dofs, strict=True)), rel=1e-10
                )

    def test_two_blocks_keep_apart(self):
        other = Block(("r",), np.array([1.0]), np.array([[0.25]]), dof=3.0, label="second launch")
        result = propagate(lambda x: {"y": x["p"] + x["q"] + x["r"]}, (), [self.BLOCK, other])
        assert {line.input: line.share for line in result.budget("y")} == pytest.approx(
            {"second launch": 0.25 / 0.40, "fit of the motion": 0.15 / 0.40}
        )
        assert result.dof[0] == pytest.approx(0.40**2 / (0.15**2 / 12.0 + 0.25**2 / 3.0), rel=1e-12)

    def test_correlated_inputs_are_one_component(self):
        inputs = [Input(name, 1.0, "1", 1.0, "t", dof=dof) for name, dof in (("a", 5.0), ("b", 8.0), ("c", 4.0))]
        pairs = {("a", "b"): 0.5}
        result = propagate(lambda x: {"y": x["a"] + x["b"] + x["c"], "d": x["a"] - x["b"]}, inputs, correlations=pairs)
        assert result.u**2 == pytest.approx([4.0, 1.0], rel=1e-12)
        # Three from the pair with its smaller ν, one from c.
        assert result.dof[0] == pytest.approx(16.0 / (9.0 / 5.0 + 1.0 / 4.0), rel=1e-12)
        assert result.dof[1] == pytest.approx(5.0, rel=1e-12)
        # A pair that is fully correlated cancels, and its variance is not a rounding error below 0.
        cancelled = propagate(lambda x: {"d": x["a"] - x["b"]}, inputs, correlations={("a", "b"): 1.0})
        assert cancelled.u[0] == pytest.approx(0.0, abs=1e-7)

    def test_truncation_keeps_whole_numbers(self):
        nu = np.array([16.0 * (1 - 2e-16), 16.75, 0.6])
        k = coverage_factors(nu, 0.99, True)
        assert k[0] == k[1] == pytest.approx(2.9208, abs=5e-5)
        assert k[2] == pytest.approx(63.657, abs=5e-3)


class TestRefusals:
    def test_not_finite_names_the_output(self):
        inputs = [Input("a", 0.0, "1", 0.1)]
        with pytest.raises(AnalysisError, match=r"no finite number for bad \(\d of 2 points\)"):
            propagate(lambda x: {"good": x["a"], "bad": 1.0 / (x["a"] - x["a"])}, inputs)

    def test_not_real_names_the_output(self):
        with pytest.raises(AnalysisError, match="leaves the real numbers for root"):
            propagate(lambda x: {"root": np.sqrt(x["a"]), "a": x["a"]}, [Input("a", -1.0, "1", 0.1)])

    def test_model_without_outputs(self):
        with pytest.raises(AnalysisError, match="returned no output"):
            propagate(lambda x: {}, [Input("a", 1.0, "1", 0.1)])

    def test_output_of_another_shape(self):
        with pytest.raises(AnalysisError, match=r"'y' of the model has shape \(3,\)"):
            propagate(lambda x: {"y": np.zeros(3)}, [Input("a", 1.0, "1", 0.1)])

    @pytest.mark.parametrize("coverage", [0.0, 1.0, 95.0, math.nan])
    def test_coverage(self, coverage):
        with pytest.raises(InputError, match="coverage probability is"):
            propagate(lambda x: x, [Input("a", 1.0, "1", 0.1)], coverage=coverage)

    def test_all_faults_together(self):
        inputs = [
            Input("a", math.nan, "1", 0.1),
            Input("b", 1.0, "1", -0.1),
            Input("b", 1.0, "1", 0.1, dof=0.0),
            Input("c", 1.0, "1", 0.1, "constant"),
            Input("d", 1.0, "1", 0.1, "bell-shaped"),
            Input("e", 1.0, "1", 0.1, "trapezoidal", shape=1.5),
        ]
        with pytest.raises(InputError) as caught:
            propagate(lambda x: x, inputs)
        text = str(caught.value)
        for piece in (
            "a: the value is nan",
            "b: the standard uncertainty is -0.1",
            "b: the name stands for two inputs",
            "b: the degrees of freedom are 0.0",
            "c: it is called constant, with u = 0.1",
            "d: the distribution 'bell-shaped' is not known",
            "e: the shape of a trapezoidal distribution is 1.5",
        ):
            assert piece in text
        assert len(caught.value.faults) == 7

    @pytest.mark.parametrize("fault", ["value", "u", "dof", "distribution"])
    def test_each_fault_alone(self, fault):
        bad = {"value": math.inf, "u": math.nan, "dof": math.nan, "distribution": "unknown"}[fault]
        with pytest.raises(InputError):
            propagate(lambda x: {"y": x["a"]}, [replace(Input("a", 1.0, "1", 0.1), **{fault: bad})])

    @pytest.mark.parametrize(
        ("values", "covariance", "dof", "message"),
        [
            ([1.0], [[1.0, 0.0], [0.0, 1.0]], 9.0, r"2 names, values of shape \(1,\)"),
            ([1.0, 2.0], [[1.0, 0.5], [0.1, 1.0]], 9.0, "not symmetric"),
            ([1.0, 2.0], [[1.0, 0.0], [0.0, -1.0]], 9.0, r"a variance is negative \(-1\)"),
            ([1.0, 2.0], [[1.0, 0.0], [0.0, math.inf]], 9.0, "not finite"),
            ([1.0, 2.0], [[1.0, 0.0], [0.0, 1.0]], 0.0, "degrees of freedom are 0.0"),
        ],
    )
    def test_blocks(self, values, covariance, dof, message):
        block = Block(("p", "q"), np.array(values), np.array(covariance), dof=dof)
        with pytest.raises(InputError, match=message):
            propagate(lambda x: {"y": x["p"]}, (), [block])

    @pytest.mark.parametrize(
        ("pair", "coefficient", "message"),
        [
            (("a", "z"), 0.5, "Not known: z"),
            (("a", "a"), 0.5, "fully correlated with itself"),
            (("a", "b"), 1.5, "correlation coefficient is 1.5"),
        ],
    )
    def test_correlations(self, pair, coefficient, message):
        inputs = [Input("a", 1.0, "1", 0.1), Input("b", 1.0, "1", 0.1)]
        with pytest.raises(InputError, match=message):
            propagate(lambda x: {"y": x["a"]}, inputs, correlations={pair: coefficient})

    def test_correlations_that_contradict_each_other(self):
        inputs = [Input(name, 1.0, "1", 0.1) for name in "abc"]
        pairs = {("a", "b"): 1.0, ("b", "c"): 1.0, ("a", "c"): -1.0}
        with pytest.raises(InputError, match="give 'y' a negative variance"):
            propagate(lambda x: {"y": x["a"] - x["b"] + x["c"]}, inputs, correlations=pairs)
