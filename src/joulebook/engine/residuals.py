"""What the residuals of a fit say about the noise: how correlated it is, and whether it is noise at all.

Jacobians are those of `Solution`: shape (n, p), the model's derivative; with H = J(JᵀJ)⁻¹Jᵀ and M = I − H, the residuals are M
times the noise. Segments are given as one integer per sample; samples are neighbours when they follow each other with the same
integer, so a new integer after a bounce, a gap or a flagged sample cuts the chain there. What can be said from the samples alone,
without a fit, is in `noise`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.linalg.lapack import dgeqrf, dorgqr, dtrtri

from joulebook.errors import FitError

__all__ = [
    "FloatArray",
    "NoiseDof",
    "NoiseModel",
    "Significance",
    "ar1_covariance",
    "ar1_dof",
    "autocorrelation",
    "effective_samples",
    "independence_test",
    "lack_of_fit",
    "lag_one",
    "misfit_test",
    "noise_model",
    "runs_test",
    "variance_inflation",
]

FloatArray = npt.NDArray[np.float64]

_MOST = 0.95  # the largest autocorrelation that a few seconds of samples can tell from a misfit
_TAIL = 1e-8  # correlations below this are left out of the sums over lags


class NoiseDof(NamedTuple):
    """Degrees of freedom of correlated residuals.

    trace: E[rss]/σ² = tr(MR), so that σ² is estimated by rss/trace; n − p when the noise is white.
    effective: degrees of freedom of that estimate after Satterthwaite, tr(MR)²/tr(MRMR).
    """

    trace: float
    effective: float


class NoiseModel(NamedTuple):
    """The noise of a fit as AR(1) within segments, and what that makes of the fit's uncertainty.

    rho: lag-1 autocorrelation. sd: standard deviation of one sample's noise, √(rss/trace). trace, effective: see NoiseDof.
    covariance: of the ordinary least-squares parameters, shape (p, p).
    """

    rho: float
    sd: float
    trace: float
    effective: float
    covariance: FloatArray


class Significance(NamedTuple):
    """The outcome of a test.

    statistic: F, or z for a test against the normal distribution.
    dof1, dof2: of numerator and denominator of F, infinite for z and for a scatter known without doubt.
    p: the probability of so large a statistic (of so large a |z|) when nothing but noise is there.
    """

    statistic: float
    dof1: float
    dof2: float
    p: float


def autocorrelation(x: npt.ArrayLike, lags: int) -> FloatArray:
    """Return the sample autocorrelation at lags 0 … `lags`, shape (lags + 1,).

    x: shape (n,), evenly spaced; its mean is taken off. NaN when x does not vary.
    Σ(xᵢ−x̄)(xᵢ₊ₖ−x̄)/Σ(xᵢ−x̄)², NIST/SEMATECH e-Handbook 1.3.5.12, which is also the certified r₁ of NIST StRD.
    """
    values = np.asarray(x, dtype=np.float64).ravel()
    if not 0 <= lags < values.size:
        raise ValueError(f"{values.size} values have no autocorrelation at lag {lags}")
    centred = values - values.mean()
    centred -= centred.mean()
    square = float(centred.dot(centred))
    if square == 0.0:
        return np.full(lags + 1, np.nan)
    return np.array([centred[: values.size - k].dot(centred[k:]) for k in range(lags + 1)]) / square


def lag_one(
    residuals: npt.ArrayLike,
    jacobian: npt.ArrayLike | None = None,
    *,
    segments: npt.ArrayLike | None = None,
    exact: bool = True,
) -> float:
    """Estimate the lag-1 autocorrelation of the noise from the residuals of a fit, without the bias that the fit brings.

    residuals: shape (n,). jacobian: shape (n, p); left out, the residuals are taken for the noise itself.
    segments: shape (n,), see the module. exact: solve for the AR(1) coefficient whose expected Σrᵢrᵢ₊₁/Σrᵢ² is the one seen;
    otherwise stop at the first-order solution, which is as free of bias when the noise is white.

    Returns a number within ±0.95; 0 when there are no neighbours, no degrees of freedom or no residuals.
    A fit makes neighbouring residuals look anticorrelated: under white noise E[Σ rᵢrᵢ₊₁] = −σ² Σ Hᵢ,ᵢ₊₁, which alone makes the
    raw quotient −0.15 for a parabola through twenty samples. Expectations of quadratic forms: J. Durbin and G. S. Watson,
    Biometrika 37 (1950) 409.
    """
    values = np.asarray(residuals, dtype=np.float64).ravel()
    chain = _Chain(values.size, segments)
    basis = None if jacobian is None else _factor(np.asarray(jacobian, dtype=np.float64))[0]
    return _lag_one(values, basis, chain, exact=exact)


def noise_model(
    residuals: npt.ArrayLike,
    jacobian: npt.ArrayLike,
    *,
    segments: npt.ArrayLike | None = None,
    least_rho: float = -_MOST,
    most_rho: float = _MOST,
) -> NoiseModel:
    """Return the autocorrelation, scatter, degrees of freedom and parameter covariance of a fit in one go.

    residuals: shape (n,). jacobian: shape (n, p). segments: shape (n,), see the module.
    least_rho, most_rho: limits within which the autocorrelation is kept; least_rho=0 never lets it shrink an uncertainty.
    The same as `lag_one`, `ar1_dof` and `ar1_covariance` one after the other, factored once. Raises FitError when the jacobian is
    singular or no degree of freedom is left.
    """
    values = np.asarray(residuals, dtype=np.float64).ravel()
    basis, triangle = _factor(np.asarray(jacobian, dtype=np.float64))
    chain = _Chain(values.size, segments)
    if values.size <= basis.shape[1]:
        raise FitError(
            f"{values.size} samples and {basis.shape[1]} parameters leave no residual to judge the noise by.",
            remedy="Use a longer stretch or a faster rate of sampling.",
        )
    rho = min(max(_lag_one(values, basis, chain, exact=True), least_rho), most_rho)
    dof, middle = _noise_dof(chain, basis, rho)
    sd = math.sqrt(float(values.dot(values)) / dof.trace) if dof.trace > 0.0 else math.inf
    back = dtrtri(triangle)[0] * sd
    return NoiseModel(rho, sd, dof.trace, dof.effective, np.asarray(back @ middle @ back.T, dtype=np.float64))


def effective_samples(n: int, rho: float) -> float:
    """Return how many independent samples the mean of n samples of an AR(1) noise is worth, exactly for finite n.

    rho: lag-1 autocorrelation, |rho| < 1. n divided by `variance_inflation`; tends to n(1−ρ)/(1+ρ).
    """
    return n / variance_inflation(n, rho)


def variance_inflation(n: int, rho: float) -> float:
    """Return n·var(mean)/σ² of n samples of an AR(1) noise: (1+ρ)/(1−ρ) − 2ρ(1−ρⁿ)/(n(1−ρ)²), exact for finite n.

    It is 1 + 2Σ(1 − k/n)ρᵏ over k = 1 … n−1, summed. Raises ValueError unless n ≥ 1 and |rho| < 1.
    """
    if n < 1 or not abs(rho) < 1.0:
        raise ValueError(f"n = {n} and rho = {rho} are not a stretch of AR(1) noise: n must be 1 or more, |rho| below 1")
    return (1.0 + rho) / (1.0 - rho) - 2.0 * rho * (1.0 - rho**n) / (n * (1.0 - rho) ** 2)


def ar1_covariance(jacobian: npt.ArrayLike, rho: float, sd: float, *, segments: npt.ArrayLike | None = None) -> FloatArray:
    """Return the covariance of ordinary least-squares parameters when the noise is AR(1) within segments, shape (p, p).

    jacobian: shape (n, p). rho: lag-1 autocorrelation. sd: standard deviation of one sample's noise (√(rss/ar1_dof(…).trace)).
    segments: shape (n,), see the module; noise of different segments is independent.

    (JᵀJ)⁻¹ Jᵀ R J (JᵀJ)⁻¹ σ² in O(n p² ), R never formed. Raises FitError when the jacobian is singular.
    """
    matrix = np.asarray(jacobian, dtype=np.float64)
    basis, triangle = _factor(matrix)
    chain = _Chain(matrix.shape[0], segments)
    middle = chain.sandwich(basis, _coefficient(rho))
    back = dtrtri(triangle)[0]
    return np.asarray(back @ middle @ back.T * (sd * sd), dtype=np.float64)


def ar1_dof(jacobian: npt.ArrayLike, rho: float, *, segments: npt.ArrayLike | None = None) -> NoiseDof:
    """Return the degrees of freedom of the residuals of a fit to AR(1) noise.

    jacobian: shape (n, p). rho: lag-1 autocorrelation. segments: shape (n,), see the module.
    The fit takes up part of slow noise, so rss/(n − p) is too small and knows less than it seems to (F. E. Satterthwaite,
    Biometrics Bull. 2 (1946) 110; GUM G.4).
    """
    basis, _ = _factor(np.asarray(jacobian, dtype=np.float64))
    return _noise_dof(_Chain(basis.shape[0], segments), basis, _coefficient(rho))[0]


def lack_of_fit(
    residuals: npt.ArrayLike,
    jacobian: npt.ArrayLike,
    extra_columns: npt.ArrayLike,
    *,
    rho: float = 0.0,
    segments: npt.ArrayLike | None = None,
) -> Significance:
    """Test whether a richer model would fit better than noise explains: the partial F test of added columns.

    residuals: shape (n,), of the fitted model. jacobian: its, shape (n, p). extra_columns: shape (n, k), what the richer
    model adds; a column that the jacobian already spans is left out of the count.
    rho, segments: AR(1) noise is whitened first (S. J. Prais and C. B. Winsten, 1954), or slow noise would pass for misfit.

    Raises FitError when the jacobian is singular or no degree of freedom is left. F = (ΔSS/k)/(SS/(n − p − k)).
    """
    from scipy.special import fdtrc

    chain = _Chain(np.asarray(residuals).size, segments)
    rho = _coefficient(rho)
    values = chain.whitened(np.asarray(residuals, dtype=np.float64).reshape(-1, 1), rho)[:, 0]
    basis, _ = _factor(chain.whitened(np.asarray(jacobian, dtype=np.float64), rho))
    added = np.asarray(extra_columns, dtype=np.float64).reshape(values.size, -1)
    added = chain.whitened(added, rho)
    length = np.sqrt((added * added).sum(axis=0))
    added = added[:, length > 0.0] / length[length > 0.0]
    added = added - basis @ (basis.T @ added)
    added -= basis @ (basis.T @ added)
    left, singular, _ = np.linalg.svd(added, full_matrices=False)
    left = left[:, singular > 1e-8]
    values = values - basis @ (basis.T @ values)
    count = left.shape[1]
    dof = values.size - basis.shape[1] - count
    if count == 0 or dof <= 0:
        raise FitError(
            f"{values.size} samples and {basis.shape[1]} parameters leave nothing to test {added.shape[1]} more columns with.",
            remedy="Test fewer columns, or over a longer stretch.",
        )
    taken = left.T @ values
    gain = float(taken.dot(taken))
    rest = values - left @ taken
    noise = float(rest.dot(rest)) / dof
    ratio = gain / count / noise if noise > 0.0 else math.inf
    return Significance(ratio, float(count), float(dof), float(fdtrc(count, dof, ratio)))


def misfit_test(rss: float, dof: float, sd: float, *, sd_dof: float = math.inf) -> Significance:
    """Test whether residuals scatter more than an independent knowledge of the noise allows.

    rss, dof: residual sum of squares and its degrees of freedom. sd: the noise of one sample known otherwise (from a still
    target, from local differences), with sd_dof degrees of freedom. F = (rss/dof)/sd², χ² where sd_dof is infinite.
    """
    from scipy.special import chdtrc, fdtrc

    if not (dof > 0.0 and sd > 0.0 and sd_dof > 0.0):
        raise ValueError(f"dof = {dof}, sd = {sd} and sd_dof = {sd_dof} must all be above 0")
    ratio = rss / dof / (sd * sd)
    p = chdtrc(dof, dof * ratio) if math.isinf(sd_dof) else fdtrc(dof, sd_dof, ratio)
    return Significance(ratio, dof, sd_dof, float(p))


def independence_test(
    residuals: npt.ArrayLike, jacobian: npt.ArrayLike, *, segments: npt.ArrayLike | None = None
) -> Significance:
    """Test whether neighbouring residuals are independent: a Durbin–Watson test with the moments of the very design at hand.

    residuals: shape (n,). jacobian: shape (n, p). segments: shape (n,), see the module.
    statistic: z of Σrᵢrᵢ₊₁/Σrᵢ², positive when neighbours resemble each other; p is two-sided. With A the matrix of half
    neighbours, the quotient has mean tr(MA)/ν and variance 2(ν tr(MAMA) − tr(MA)²)/(ν²(ν+2)), ν = n − p, exactly; its
    distribution is taken as normal (J. Durbin and G. S. Watson, Biometrika 37 (1950) 409).
    """
    from scipy.special import ndtr

    values = np.asarray(residuals, dtype=np.float64).ravel()
    basis, _ = _factor(np.asarray(jacobian, dtype=np.float64))
    chain = _Chain(values.size, segments)
    dof = values.size - basis.shape[1]
    square = float(values.dot(values))
    if chain.pairs == 0 or dof <= 0 or square == 0.0:
        return Significance(0.0, math.inf, math.inf, 1.0)
    moved = chain.neighbours(basis)
    inner = basis.T @ moved
    first = -0.5 * float(inner.trace())
    second = 0.5 * chain.pairs - 0.5 * float((moved * moved).sum()) + 0.25 * float((inner * inner).sum())
    variance = 2.0 * (dof * second - first * first) / (dof * dof * (dof + 2.0))
    seen = 0.5 * float(values.dot(chain.neighbours(values[:, None])[:, 0])) / square
    z = (seen - first / dof) / math.sqrt(variance) if variance > 0.0 else 0.0
    return Significance(z, math.inf, math.inf, float(2.0 * ndtr(-abs(z))))


def runs_test(residuals: npt.ArrayLike) -> Significance:
    """Test whether the signs of residuals come in runs that are too long or too short.

    residuals: shape (n,), in order of time; zeros are left out. statistic: z, positive when runs are too long (too few); p is
    two-sided, with a continuity correction. A. Wald and J. Wolfowitz, Ann. Math. Statist. 11 (1940) 147.
    """
    from scipy.special import ndtr

    values = np.asarray(residuals, dtype=np.float64).ravel()
    above = values[values != 0.0] > 0.0
    high = int(above.sum())
    low = above.size - high
    total = above.size
    if high == 0 or low == 0:
        return Significance(0.0, math.inf, math.inf, 1.0)
    runs = 1 + int((above[1:] != above[:-1]).sum())
    mean = 1.0 + 2.0 * high * low / total
    variance = (mean - 1.0) * (mean - 2.0) / (total - 1.0)
    if variance <= 0.0:
        return Significance(0.0, math.inf, math.inf, 1.0)
    away = mean - runs
    z = math.copysign(max(abs(away) - 0.5, 0.0), away) / math.sqrt(variance)
    return Significance(z, math.inf, math.inf, float(2.0 * ndtr(-abs(z))))


class _Chain:
    """Samples in a row, cut where one segment ends and the next begins."""

    __slots__ = ("joined", "pairs", "rows", "runs")

    def __init__(self, rows: int, segments: npt.ArrayLike | None) -> None:
        self.rows = rows
        self.runs: npt.NDArray[np.int64] | None = None
        self.joined: FloatArray | None = None
        self.pairs = max(rows - 1, 0)
        if segments is None:
            return
        marks = np.asarray(segments).ravel()
        if marks.size != rows:
            raise ValueError(f"{marks.size} segment numbers were given for {rows} samples")
        same = marks[1:] == marks[:-1]
        self.pairs = int(same.sum())
        if self.pairs < rows - 1:
            # Runs are counted anew, so that an integer which comes back later does not join two stretches.
            self.runs = np.concatenate(([0], np.cumsum(~same)))
            self.joined = same[:, None].astype(np.float64)

    def neighbours(self, columns: FloatArray) -> FloatArray:
        """Return B·columns: each sample's neighbours added up."""
        after, before = columns[1:], columns[:-1]
        if self.joined is not None:
            after, before = after * self.joined, before * self.joined
        total = np.empty_like(columns)
        total[:-1] = after
        total[-1] = 0.0
        total[1:] += before
        return total

    def decayed(self, columns: FloatArray, rho: float, *, reverse: bool = False) -> FloatArray:
        """Return Σₘ ρᵐ Sᵐ columns, S the shift by one sample within a segment, by doubling: (1+ρS)(1+ρ²S²)(1+ρ⁴S⁴)…"""
        total = columns.copy()
        shift, factor = 1, rho
        while shift < self.rows and abs(factor) > _TAIL:
            head, tail = (total[shift:], total[:-shift]) if reverse else (total[:-shift], total[shift:])
            within = None if self.runs is None else (self.runs[shift:] == self.runs[:-shift])[:, None]
            tail += head * (factor if within is None else within * factor)
            shift, factor = 2 * shift, factor * factor
        return total

    def sandwich(self, columns: FloatArray, rho: float) -> FloatArray:
        """Return columnsᵀ R columns, R the AR(1) correlation matrix."""
        half = columns.T @ self.decayed(columns, rho)
        return np.asarray(half + half.T - columns.T @ columns, dtype=np.float64)

    def square_sum(self, rho: float) -> float:
        """Return Σ R²: over each segment of m samples, m times `variance_inflation` at ρ²."""
        lengths = [self.rows] if self.runs is None else np.bincount(self.runs).tolist()
        return math.fsum(m * variance_inflation(int(m), rho * rho) for m in lengths if m)

    def whitened(self, columns: FloatArray, rho: float) -> FloatArray:
        """Return the columns with AR(1) correlation taken out; the first sample of each segment stays as it is."""
        if rho == 0.0:
            return columns
        white = columns.copy()
        fresh = (columns[1:] - rho * columns[:-1]) / math.sqrt(1.0 - rho * rho)
        white[1:] = fresh if self.joined is None else np.where(self.joined > 0.0, fresh, columns[1:])
        return white


def _lag_one(values: FloatArray, basis: FloatArray | None, chain: _Chain, *, exact: bool) -> float:
    square = float(values.dot(values))
    if chain.pairs == 0 or square == 0.0:
        return 0.0
    seen = 0.5 * float(values.dot(chain.neighbours(values[:, None])[:, 0])) / square
    if basis is None:
        return _within(seen * values.size / chain.pairs)
    dof = values.size - basis.shape[1]
    if dof <= 0:
        return 0.0
    moved = chain.neighbours(basis)
    inner = basis.T @ moved
    bias = -0.5 * float(inner.trace())
    gain = chain.pairs - float((moved * moved).sum()) + 0.5 * float((inner * inner).sum())
    slope = gain - 2.0 * seen * bias
    if slope <= 0.0:
        return 0.0
    rho = _within((seen * dof - bias) / slope)
    if not exact:
        return rho
    last, lack = 0.0, bias / dof - seen
    for _ in range(6):
        if abs(rho - last) < 1e-4:
            break
        above, below = _moments(chain, basis, moved, inner, rho)
        miss = above / below - seen
        if miss == lack:
            break
        last, lack, rho = rho, miss, _within(rho - miss * (rho - last) / (miss - lack))
    return rho


def _noise_dof(chain: _Chain, basis: FloatArray, rho: float) -> tuple[NoiseDof, FloatArray]:
    """Return the degrees of freedom of the residuals and basisᵀ R basis."""
    if rho == 0.0:
        dof = float(chain.rows - basis.shape[1])
        return NoiseDof(dof, dof), np.eye(basis.shape[1])
    smeared = chain.decayed(basis, rho) + chain.decayed(basis, rho, reverse=True) - basis
    inner = basis.T @ smeared
    trace = chain.rows - float(inner.trace())
    square = chain.square_sum(rho) - 2.0 * float((smeared * smeared).sum()) + float((inner * inner).sum())
    if trace <= 0.0 or square <= 0.0:
        return NoiseDof(0.0, 0.0), inner
    return NoiseDof(trace, trace * trace / square), inner


def _moments(chain: _Chain, basis: FloatArray, moved: FloatArray, inner: FloatArray, rho: float) -> tuple[float, float]:
    """Return E[Σ rᵢrᵢ₊₁]/σ² = ½tr(BMRM) and E[Σ rᵢ²]/σ² = tr(MR) of the residuals of a fit to AR(1) noise."""
    count = basis.shape[1]
    both = np.concatenate((basis, moved), axis=1)
    half = both.T @ chain.decayed(both, rho)
    full = half + half.T - both.T @ both
    middle, cross = full[:count, :count], full[count:, :count]
    below = chain.rows - float(middle.trace())
    above = chain.pairs * rho - float(cross.trace()) + 0.5 * float((inner * middle).sum())
    return above, below


def _within(rho: float) -> float:
    return max(-_MOST, min(_MOST, rho))


def _coefficient(rho: float) -> float:
    if not abs(rho) < 1.0:
        raise ValueError(f"an autocorrelation of {rho} is not below 1")
    return float(rho)


def _factor(matrix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a basis of the columns, shape (n, p), and the triangle that makes them of it."""
    if matrix.ndim == 1:
        matrix = matrix[:, None]
    rows, count = matrix.shape
    packed, scalars, _, _ = dgeqrf(matrix)
    triangle = np.triu(packed[:count])
    size = np.sqrt((triangle * triangle).sum(axis=0))
    small = np.abs(triangle.diagonal()) <= 1e-13 * size[: triangle.shape[0]]
    if rows < count or small.any():
        where = "there are more columns than rows"
        if small.any():
            where = f"column {int(small.argmax())} depends on the columns before it"
        raise FitError(f"the derivatives of the fit are singular: {where}.", remedy="Fit fewer parameters.")
    return dorgqr(packed, scalars, overwrite_a=1)[0], triangle
