"""Monte Carlo against the examples of JCGM 101 and closed forms; tolerances follow from the number of draws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats

from joulebook.errors import AnalysisError, InputError
from joulebook.uncertainty import Block, Input, monte_carlo, propagate
from joulebook.uncertainty.monte_carlo import ends

# Four standard deviations: about one failure in 16 000 for a wrong seed; the seeds are fixed.
SIGMAS = 4.0


def seeded(seed=1):
    return np.random.default_rng(seed)


def mean_tolerance(u, draws):
    return SIGMAS * u / math.sqrt(draws)


def u_tolerance(u, draws, kurtosis=3.0):
    return SIGMAS * u * math.sqrt((kurtosis - 1.0) / (4.0 * draws))


def end_tolerance(density, draws, coverage=0.95):
    """Of an end of a symmetric interval: √(α(1 − α)/n)/f with α the part outside it and f the density there."""
    outside = 0.5 * (1.0 - coverage)
    return SIGMAS * math.sqrt(outside * (1.0 - outside) / draws) / density


def total(x):
    return {"y": x["a"] + x["b"] + x["c"] + x["d"]}


def four(distribution, last=1.0):
    return [Input(name, 0.0, "1", u, distribution) for name, u in zip("abcd", (1.0, 1.0, 1.0, last), strict=True)]


@pytest.mark.parametrize("sampler", ["sobol", "plain"])
class TestSupplement1:
    DRAWS = 2**17

    def test_four_normal(self, sampler):
        # U8: JCGM 101:2008, 9.2.2: u 2.00, ±3.92.
        result = monte_carlo(total, four("normal"), rng=seeded(), draws=self.DRAWS, sampler=sampler)
        edge = 2.0 * stats.norm.ppf(0.975)
        assert edge == pytest.approx(3.92, abs=0.005)
        assert result.mean[0] == pytest.approx(0.0, abs=mean_tolerance(2.0, self.DRAWS))
        assert result.u[0] == pytest.approx(2.0, abs=u_tolerance(2.0, self.DRAWS))
        tolerance = end_tolerance(stats.norm.pdf(edge, scale=2.0), self.DRAWS)
        assert (result.low[0], result.high[0]) == pytest.approx((-edge, edge), abs=tolerance)

    def test_four_rectangular(self, sampler):
        # U9: 9.2.3: u 2.00, ±3.88, in closed form 2√3·(2 − (3/5)^¼).
        result = monte_carlo(total, four("rectangular"), rng=seeded(2), draws=self.DRAWS, sampler=sampler)
        edge = 2.0 * math.sqrt(3.0) * (2.0 - 0.6**0.25)
        # Near its end the sum of four has the density (2h·4 … )³/6 over (2h)⁴ with h = √3.
        density = (4.0 * math.sqrt(3.0) - edge) ** 3 / (6.0 * (2.0 * math.sqrt(3.0)) ** 4)
        tolerance = end_tolerance(density, self.DRAWS)
        assert tolerance < 0.06
        assert result.u[0] == pytest.approx(2.0, abs=u_tolerance(2.0, self.DRAWS))
        assert (result.low[0], result.high[0]) == pytest.approx((-edge, edge), abs=tolerance)

    def test_one_dominant_rectangular(self, sampler):
        # U10: 9.2.4: u 10.1, ±17.0; the exact quantile is 17.0158.
        result = monte_carlo(total, four("rectangular", last=10.0), rng=seeded(3), draws=self.DRAWS, sampler=sampler)
        tolerance = end_tolerance(1.0 / (20.0 * math.sqrt(3.0)) * 0.9, self.DRAWS)
        assert result.u[0] == pytest.approx(math.sqrt(103.0), abs=u_tolerance(10.15, self.DRAWS, kurtosis=1.9))
        assert (result.low[0], result.high[0]) == pytest.approx((-17.0158, 17.0158), abs=tolerance)

    def test_mass_calibration(self, sampler):
        # U11: 9.3, mg: the draws show 0.0754 and [1.0834, 1.3825], where first-order propagation has 0.0539.
        def model(x):
            buoyancy = (x["air"] - 1.2) * (1.0 / x["unknown"] - 1.0 / x["reference"])
            return {"dm": (x["m_R"] + x["dm_R"]) * (1.0 + buoyancy) - 1e5}

        root3 = math.sqrt(3.0)
        inputs = [
            Input("m_R", 1e5, "mg", 0.050),
            Input("dm_R", 1.234, "mg", 0.020),
            Input("air", 1.20, "kg/m^3", 0.10 / root3, "rectangular"),
            Input("unknown", 8000.0, "kg/m^3", 1000.0 / root3, "rectangular"),
            Input("reference", 8000.0, "kg/m^3", 50.0 / root3, "rectangular"),
        ]
        linear = propagate(model, inputs)
        assert linear.values[0] == pytest.approx(1.2340, abs=1e-4)
        assert linear.u[0] == pytest.approx(0.0539, abs=1e-4)
        assert (linear.low[0], linear.high[0]) == pytest.approx((1.1285, 1.3395), abs=1e-4)
        result = monte_carlo(model, inputs, rng=seeded(4), draws=self.DRAWS, sampler=sampler)
        assert result.mean[0] == pytest.approx(1.234, abs=mean_tolerance(0.0755, self.DRAWS))
        assert result.u[0] == pytest.approx(0.0755, abs=2e-4 + u_tolerance(0.0755, self.DRAWS, kurtosis=3.6))
        # The published ends come from 7.2e5 draws of the adaptive run: their own scatter is the 2e-3 of REFERENCES.
        assert (result.low[0], result.high[0]) == pytest.approx((1.0834, 1.3825), abs=2e-3 + end_tolerance(0.75, self.DRAWS))

    @pytest.mark.parametrize(
        ("x1", "mean", "u", "published"),
        [
            # U12: 9.4, X1² + X2² with u = 0.005, results in 1e-6, shortest intervals.
            (0.000, 50.0, 50.0, (0, 150)),
            (0.010, 150.0, 112.0, (0, 367)),
            (0.050, 2551.0, 502.0, (1590, 3543)),
        ],
    )
    def test_comparison_loss(self, sampler, x1, mean, u, published):
        inputs = [Input("x1", x1, "1", 0.005), Input("x2", 0.0, "1", 0.005)]

        def run(interval):
            return monte_carlo(
                lambda x: {"y": 1e6 * (x["x1"] ** 2 + x["x2"] ** 2)}, inputs, rng=seeded(5), draws=self.DRAWS, sampler=sampler,
                interval=interval,
            )

        # The exact distribution is χ² with two degrees of freedom, non-central where x1 is not 0.
        exact = stats.ncx2(2, (x1 / 0.005) ** 2, scale=25.0) if x1 else stats.chi2(2, scale=25.0)
        result = run("shortest")
        assert result.mean[0] == pytest.approx(exact.mean(), abs=mean_tolerance(exact.std(), self.DRAWS))
        kurtosis = 3.0 + float(exact.stats(moments="k"))
        assert result.u[0] == pytest.approx(exact.std(), abs=u_tolerance(exact.std(), self.DRAWS, kurtosis))
        assert (exact.mean(), exact.std()) == pytest.approx((mean, u), abs=1.0)
        # The shortest interval holds 95 %; where the distribution is nearly symmetric its place is badly defined, its width not.
        held = exact.cdf(result.high[0]) - exact.cdf(result.low[0])
        assert held == pytest.approx(0.95, abs=SIGMAS * math.sqrt(0.95 * 0.05 / self.DRAWS))
        assert (result.low[0], result.high[0]) == pytest.approx(published, abs=25.0 if x1 == 0.05 else 10.0)
        assert result.high[0] - result.low[0] == pytest.approx(published[1] - published[0], abs=10.0)
        symmetric = run("symmetric")
        for end, probability in ((symmetric.low[0], 0.025), (symmetric.high[0], 0.975)):
            edge = exact.ppf(probability)
            assert end == pytest.approx(edge, abs=end_tolerance(exact.pdf(edge), self.DRAWS))

    @pytest.mark.parametrize(
        ("x1", "u", "shortest"), [(0.0, 67.27, (0, 185)), (0.010, 120.52, (13, 398)), (0.050, 504.5, (1628, 3555))]
    )
    def test_comparison_loss_correlated(self, sampler, x1, u, shortest):
        # U12 with r = 0.9: sd exact, intervals published.
        inputs = [Input("x1", x1, "1", 0.005), Input("x2", 0.0, "1", 0.005)]
        result = monte_carlo(
            lambda x: {"y": 1e6 * (x["x1"] ** 2 + x["x2"] ** 2)}, inputs, rng=seeded(6), draws=self.DRAWS, sampler=sampler,
            correlations={("x1", "x2"): 0.9}, interval="shortest",
        )
        assert result.mean[0] == pytest.approx(50.0 + 1e6 * x1**2, abs=mean_tolerance(u, self.DRAWS))
        assert result.u[0] == pytest.approx(u, abs=u_tolerance(u, self.DRAWS, kurtosis=14.0) + 0.005)
        # The place of the shortest interval is the ill-defined part; its ends are published to 7.9's tolerance of ±5.
        assert (result.low[0], result.high[0]) == pytest.approx(shortest, abs=25.0 if x1 == 0.05 else 10.0)

    def test_gauge_block(self, sampler):
        # U13: 9.5: GUF 838, 32 nm, 99 % [745, 931]; MCM 838, 36 nm, [745, 932].
        def model(x):
            dl = x["L_s"] + x["D"] + x["d1"] + x["d2"]
            return {"dL": dl - x["L_s"] * (x["da"] * (x["t0"] + x["Delta"]) + x["alpha"] * x["dt"]) - 5e7}

        w = 1e-6
        inputs = [
            Input("L_s", 50_000_623.0, "nm", 25.0, "t", dof=18.0),
            Input("D", 215.0, "nm", 6.0, "t", dof=24.0),
            Input("d1", 0.0, "nm", 4.0, "t", dof=5.0),
            Input("d2", 0.0, "nm", 7.0, "t", dof=8.0),
            Input("alpha", 11.5e-6, "1/degC", 2e-6 / math.sqrt(3.0), "rectangular"),
            Input("t0", -0.1, "degC", 0.2),
            Input("Delta", 0.0, "degC", 0.5 / math.sqrt(2.0), "arcsine"),
            Input("da", 0.0, "1/degC", w * math.sqrt(1 / 3 + 0.01 / 9), "curvilinear-trapezoidal", shape=0.1),
            Input("dt", 0.0, "degC", 0.05 * math.sqrt(1 / 3 + 0.25 / 9), "curvilinear-trapezoidal", shape=0.5),
        ]
        linear = propagate(model, inputs, coverage=0.99)
        assert linear.values[0] == pytest.approx(838.0, abs=0.5)
        # The rounded 32 nm of the standard takes u(δθ) = 0.029 °C; 0.05 with d = 0.025 gives 0.030.
        assert linear.u[0] == pytest.approx(32.0, abs=0.5)
        result = monte_carlo(model, inputs, rng=seeded(7), draws=self.DRAWS, coverage=0.99, sampler=sampler)
        assert result.mean[0] == pytest.approx(838.0, abs=mean_tolerance(36.0, self.DRAWS))
        assert result.u[0] == pytest.approx(35.8, abs=0.3 + u_tolerance(36.0, self.DRAWS))
        tolerance = end_tolerance(stats.norm.pdf(2.6) / 36.0, self.DRAWS, 0.99)
        assert (result.low[0], result.high[0]) == pytest.approx((745.3, 932.4), abs=0.5 + tolerance)

    def test_logarithm(self, sampler):
        # U14: NPL DEM-ES-011, 9.2: −0.665, 0.606, shortest [−1.895, 0.095]; exact −0.66490, 0.60623, [ln 0.15, ln 1.1].
        inputs = [Input("x", 0.6, "1", 0.5 / math.sqrt(3.0), "rectangular")]
        result = monte_carlo(
            lambda x: {"y": np.log(x["x"])}, inputs, rng=seeded(8), draws=self.DRAWS, sampler=sampler, interval="shortest"
        )
        assert result.mean[0] == pytest.approx(-0.66490, abs=mean_tolerance(0.606, self.DRAWS))
        assert result.u[0] == pytest.approx(0.60623, abs=u_tolerance(0.606, self.DRAWS, kurtosis=3.3))
        # Density of ln X at ln 0.15 is 0.15, and the upper end is the maximum.
        tolerance = SIGMAS * math.sqrt(0.95 * 0.05 / self.DRAWS) / 0.15
        assert result.low[0] == pytest.approx(math.log(0.15), abs=tolerance)
        assert result.high[0] == pytest.approx(math.log(1.1), abs=2e-3)

    def test_magnitude_near_zero(self, sampler):
        # U17: JCGM 102:2011, Table 6, x = 0.001, u = 0.01, r = 0: magnitude 0.001/0.010 by first order, 0.013/0.007 by draws.
        inputs = [Input("x", 0.001, "1", 0.01), Input("z", 0.0, "1", 0.01)]

        def model(x):
            return {"magnitude": np.sqrt(x["x"] ** 2 + x["z"] ** 2)}

        linear = propagate(model, inputs)
        assert (linear.values[0], linear.u[0]) == pytest.approx((0.001, 0.010), abs=5e-4)
        result = monte_carlo(model, inputs, rng=seeded(9), draws=self.DRAWS, sampler=sampler)
        assert (result.mean[0], result.u[0]) == pytest.approx((0.013, 0.007), abs=5e-4)


class TestBlocks:
    DRAWS = 2**16
    COVARIANCE = np.array([[4.0, 1.2, 0.0], [1.2, 1.0, 0.3], [0.0, 0.3, 0.25]])

    @staticmethod
    def model(x):
        return {"p": x["p"], "q": x["q"], "r": x["r"], "sum": x["p"] - 2.0 * x["q"] + x["r"]}

    @pytest.mark.parametrize("sampler", ["sobol", "plain"])
    @pytest.mark.parametrize("dof", [math.inf, 9.0])
    def test_multivariate_normal_and_t(self, sampler, dof):
        block = Block(("p", "q", "r"), np.array([1.0, 2.0, 3.0]), self.COVARIANCE, dof=dof)
        result = monte_carlo(self.model, (), [block], rng=seeded(11), draws=self.DRAWS, sampler=sampler, keep_samples=True)
        wider = 1.0 if math.isinf(dof) else dof / (dof - 2.0)
        kurtosis = 3.0 if math.isinf(dof) else 3.0 + 6.0 / (dof - 4.0)
        weights = np.vstack([np.eye(3), [1.0, -2.0, 1.0]])
        scale = np.sqrt(np.diag(weights @ self.COVARIANCE @ weights.T))
        expected = np.cov(result.samples[:3])
        spread = scale[:3] * np.sqrt(wider)
        assert expected / np.outer(spread, spread) == pytest.approx(
            self.COVARIANCE / np.outer(scale[:3], scale[:3]), abs=SIGMAS * math.sqrt(2.0 * kurtosis / self.DRAWS)
        )
        # Every linear combination of a multivariate t is t with the same ν: so the linear interval is exact for both.
        linear = propagate(self.model, (), [block])
        for row in range(4):
            shape = stats.norm if math.isinf(dof) else stats.t(dof)
            tolerance = end_tolerance(shape.pdf(linear.k[row]) / scale[row], self.DRAWS)
            assert (result.low[row], result.high[row]) == pytest.approx((linear.low[row], linear.high[row]), abs=tolerance)

    def test_parameters_tied_to_each_other(self):
        # q = 2p exactly: the matrix is semi-definite, and Cholesky's factor would not exist.
        block = Block(("p", "q", "r"), np.array([1.0, 2.0, 0.0]), np.array([[1.0, 2.0, 0.0], [2.0, 4.0, 0.0], [0.0, 0.0, 0.0]]))
        result = monte_carlo(
            lambda x: {"tie": x["q"] - 2.0 * x["p"], "p": x["p"], "r": x["r"] + 1.0}, (), [block], rng=seeded(), draws=2**12
        )
        assert result.u[0] == pytest.approx(0.0, abs=1e-6)
        assert result.u[1] == pytest.approx(1.0, abs=u_tolerance(1.0, 2**12))
        assert (result.mean[2], result.u[2], result.low[2], result.high[2]) == (1.0, 0.0, 1.0, 1.0)

    def test_parameters_of_very_different_size(self):
        covariance = np.diag([1e12, 1e-12]) + np.array([[0.0, 0.6], [0.6, 0.0]])
        block = Block(("p", "q"), np.array([0.0, 0.0]), covariance)
        result = monte_carlo(lambda x: dict(x), (), [block], rng=seeded(), draws=2**14, keep_samples=True)
        assert result.u == pytest.approx([1e6, 1e-6], rel=SIGMAS / math.sqrt(2**15))
        assert np.corrcoef(result.samples)[0, 1] == pytest.approx(0.6, abs=SIGMAS * (1 - 0.36) / math.sqrt(2**14))

    def test_correlated_t_inputs_share_their_chi_squared(self):
        inputs = [Input(name, 0.0, "1", 1.0, "t", dof=5.0) for name in "ab"]
        pairs = {("a", "b"): 0.5}
        result = monte_carlo(lambda x: {"s": x["a"] + x["b"]}, inputs, rng=seeded(3), draws=self.DRAWS, correlations=pairs)
        edge = math.sqrt(3.0) * stats.t.ppf(0.975, 5.0)
        tolerance = end_tolerance(stats.t.pdf(edge / math.sqrt(3.0), 5.0) / math.sqrt(3.0), self.DRAWS)
        assert result.high[0] == pytest.approx(edge, abs=tolerance)

    def test_more_dimensions_than_sobol_knows(self):
        inputs = [Input(f"x{n}", 0.0, "1", 1.0, "rectangular" if n % 2 else "normal") for n in range(80)]
        result = monte_carlo(lambda x: {"y": sum(x.values())}, inputs, rng=seeded(), draws=2**12)
        assert result.u[0] == pytest.approx(math.sqrt(80.0), abs=u_tolerance(math.sqrt(80.0), 2**12))


class TestAccuracy:
    def test_sobol_ends_scatter_less_and_agree_with_plain_draws(self):
        """Both samplers estimate the same numbers; Sobol's standard deviation over repeats must be well below plain's."""

        def model(x):
            kinetic = 0.5 * x["m"] * x["v"] ** 2 * (1.0 + x["kappa"])
            return {"ratio": x["m"] * 9.81 * x["d"] * np.sin(x["angle"] * (math.pi / 180.0)) / kinetic}

        inputs = [
            Input("m", 0.25, "kg", 0.001, "rectangular"),
            Input("v", 1.0, "m/s", 0.004, "t", dof=30.0),
            Input("kappa", 0.015, "1", 0.0087, "rectangular"),
            Input("d", 0.29, "m", 0.001),
            Input("angle", 9.8, "deg", 0.25 / math.sqrt(3.0), "rectangular"),
        ]
        rng = seeded(13)
        table = {
            sampler: np.array(
                [
                    (r.mean[0], r.u[0], r.low[0], r.high[0])
                    for r in (monte_carlo(model, inputs, rng=rng, draws=2**11, sampler=sampler) for _ in range(60))
                ]
            )
            for sampler in ("sobol", "plain")
        }
        scatter = {sampler: each.std(axis=0, ddof=1) for sampler, each in table.items()}
        # Variance ratios of 60 repeats are good to a factor 1.7 (F at 1e-3, half of it): three in the deviation is far outside.
        assert np.all(scatter["sobol"][:2] < scatter["plain"][:2] / 3.0)
        assert np.all(scatter["sobol"][2:] < scatter["plain"][2:] / 1.5)
        joint = np.hypot(scatter["sobol"], scatter["plain"]) / math.sqrt(60.0)
        assert np.all(np.abs(table["sobol"].mean(axis=0) - table["plain"].mean(axis=0)) < SIGMAS * joint)

    def test_ends_carry_no_bias_of_a_rank(self):
        # Evenly spread points give the quantile itself, at any number of draws.
        for count in (100, 1000, 4096):
            points = (np.arange(count) + 0.5)[None, :] / count
            low, high = ends(points, 0.95, "symmetric")
            assert (low[0], high[0]) == pytest.approx((0.025, 0.975), abs=1e-15)

    def test_shortest_interval(self):
        # JCGM 101, 7.7.2, note 4: of an exponential distribution it starts at 0 and ends at −ln 0.05.
        points = -np.log1p(-(np.arange(10_000) + 0.5) / 10_000)[None, :]
        low, high = ends(points, 0.95, "shortest")
        assert low[0] == points[0, 0]
        assert high[0] == pytest.approx(-math.log(0.05), abs=2e-3)

    def test_shortest_interval_of_a_skew_distribution(self):
        # The shortest interval of exp(N(0, ½)) is where the density is equal at both ends.
        peer = stats.lognorm(0.5)
        start = optimize.brentq(lambda a: peer.pdf(a) - peer.pdf(peer.ppf(peer.cdf(a) + 0.95)), 0.05, 0.38)
        result = monte_carlo(
            lambda x: {"y": np.exp(x["x"])}, [Input("x", 0.0, "1", 0.5)], rng=seeded(), draws=2**16, interval="shortest"
        )
        assert result.low[0] == pytest.approx(start, abs=0.02)
        assert result.high[0] - result.low[0] == pytest.approx(peer.ppf(peer.cdf(start) + 0.95) - start, abs=5e-3)


class TestUse:
    INPUTS = (Input("a", 1.0, "m", 0.1), Input("b", 2.0, "m", 0.2, "triangular"), Input("c", 3.0, "1", 0.0, "constant"))

    @staticmethod
    def model(x):
        return {"product": x["a"] * x["b"], "fixed": 2.0 * x["c"], "a": x["a"]}

    def test_same_seed_same_result(self):
        block = Block(("p", "q"), np.array([1.0, 2.0]), np.array([[1.0, 0.5], [0.5, 2.0]]), dof=6.5)
        for sampler in ("sobol", "plain"):
            one, two, other = (
                monte_carlo(
                    lambda x: {"y": x["a"] * x["p"] + x["q"]}, self.INPUTS, [block], rng=seeded(s), draws=1000, sampler=sampler
                )
                for s in (4, 4, 5)
            )
            for name in ("mean", "u", "low", "high"):
                assert np.array_equal(getattr(one, name), getattr(two, name))
                assert not np.array_equal(getattr(one, name), getattr(other, name))

    def test_samples_are_kept_in_order(self):
        result = monte_carlo(self.model, self.INPUTS, rng=seeded(), draws=2**10, keep_samples=True)
        assert result.samples.shape == (3, 2**10)
        assert result.mean == pytest.approx(result.samples.mean(axis=1), rel=1e-14)
        assert result.u == pytest.approx(result.samples.std(axis=1, ddof=1), rel=1e-12)
        # Drawn together, still in the order drawn: the product goes with its factor.
        assert np.corrcoef(result.samples[0], result.samples[2])[0, 1] == pytest.approx(math.sqrt(0.5), abs=0.03)
        without = monte_carlo(self.model, self.INPUTS, rng=seeded(), draws=2**10)
        assert without.samples is None
        assert np.array_equal(without.low, result.low)

    def test_no_uncertainty(self):
        inputs = [replace(item, u=0.0) for item in self.INPUTS]
        result = monte_carlo(self.model, inputs, rng=seeded(), draws=1000)
        assert result.mean == pytest.approx([2.0, 6.0, 1.0], rel=1e-14)
        assert result.u.tolist() == [0.0, 0.0, 0.0]
        assert result.low.tolist() == result.high.tolist() == [2.0, 6.0, 1.0]

    def test_quantity(self):
        result = monte_carlo(self.model, self.INPUTS, rng=seeded(), draws=2**12, coverage=0.9)
        quantity = result.quantity("product", "m^2", dof=12.0)
        assert (quantity.unit, quantity.method, quantity.coverage, quantity.dof) == ("m^2", "monte-carlo", 0.9, 12.0)
        assert quantity.low < quantity.value < quantity.high
        with pytest.raises(InputError, match="no output 'nothing'"):
            result.quantity("nothing", "m")

    def test_not_finite_names_the_output(self):
        with pytest.raises(AnalysisError, match=r"no finite number for root \(\d+ of 1024 draws\)"):
            monte_carlo(lambda x: {"root": np.sqrt(x["a"]), "a": x["a"]}, [Input("a", 0.1, "1", 0.1)], rng=seeded(), draws=1024)

    @pytest.mark.parametrize(
        ("options", "message"),
        [
            ({"draws": 50}, r"50 draws cannot give .* at least 80"),
            ({"draws": 2**27}, "at most"),
            ({"coverage": 1.0}, "coverage probability is 1"),
            ({"interval": "widest"}, "interval 'widest' is not known"),
            ({"sampler": "halton"}, "sampler 'halton' is not known"),
        ],
    )
    def test_options(self, options, message):
        with pytest.raises(InputError, match=message):
            monte_carlo(self.model, self.INPUTS, rng=seeded(), **options)

    def test_no_such_covariance(self):
        block = Block(("p", "q"), np.array([0.0, 0.0]), np.array([[1.0, 2.0], [2.0, 1.0]]), label="a bad fit")
        with pytest.raises(InputError, match=r"covariance of a bad fit has a negative eigenvalue \(-1"):
            monte_carlo(lambda x: dict(x), (), [block], rng=seeded())

    def test_correlated_inputs_of_other_kinds(self):
        with pytest.raises(InputError, match=r"cannot draw these correlated inputs together: a \(normal.*b \(triangular"):
            monte_carlo(self.model, self.INPUTS, rng=seeded(), correlations={("a", "b"): 0.5})
