"""A stretch at constant acceleration: a straight-forward parabola fit, against closed forms, with the GUM's interval."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student

import joulebook
from joulebook.engine.clean import clean
from joulebook.engine.record import Record
from joulebook.engine.stretch import Stretch, fit_stretch
from joulebook.errors import AnalysisError, RecordError


def sliding(n: int = 25, dt: float = 0.05, *, noise: float = 0.0, seed: int = 0, acceleration: float = 1.3) -> Record:
    time = 0.4 + dt * np.arange(n)
    tau = time - time[0]
    distance = 0.25 + 0.3 * tau + 0.5 * acceleration * tau**2 + noise * np.random.default_rng(seed).standard_normal(n)
    return Record("slide.csv", time, distance)


def test_without_noise_the_motion_is_found_again() -> None:
    found = fit_stretch(clean(sliding()), 0.0, 9.0)
    assert found.acceleration.value == pytest.approx(1.3, rel=1e-9)
    assert found.start_speed.value == pytest.approx(0.3, rel=1e-9)
    assert found.start_distance.value == pytest.approx(0.25, rel=1e-9)
    assert (found.samples, found.start_s, found.end_s) == (25, 0.4, pytest.approx(1.6))
    assert [found.acceleration.unit, found.start_speed.unit, found.start_distance.unit] == ["m/s^2", "m/s", "m"]


def test_the_uncertainty_is_the_closed_form() -> None:
    """REFERENCES §7: var(a) = 720 σ²/(dt⁴ N(N²−1)(N²−4)) for white noise; 7619.0476 σ² at N = 7, dt = 0.05."""
    for n, dt in ((7, 0.05), (25, 0.05), (40, 0.02)):
        factor = 720.0 / (dt**4 * n * (n**2 - 1) * (n**2 - 4))
        if n == 7:
            assert factor == pytest.approx(7619.0476, rel=1e-7)
        ratios = []
        for seed in range(40):
            found = fit_stretch(clean(sliding(n, dt, noise=0.001, seed=seed)), 0.0, 9.0)
            ratios.append(found.acceleration.u / (found.noise_m * math.sqrt(factor)))
        # Exactly 1 wherever no autocorrelation is seen, which chance shows in less than half of the records.
        assert np.isclose(ratios, 1.0, rtol=1e-6).sum() > 16
        assert np.median(ratios) == pytest.approx(1.0, abs=0.05)


def test_the_interval_is_students() -> None:
    record = sliding(12, noise=0.002, seed=3)
    for coverage in (0.68, 0.95, 0.99):
        found = fit_stretch(clean(record), 0.0, 9.0, coverage=coverage)
        half = float(student.ppf(0.5 + 0.5 * coverage, found.acceleration.dof)) * found.acceleration.u
        assert found.acceleration.high - found.acceleration.value == pytest.approx(half, rel=1e-9)
        assert found.acceleration.value - found.acceleration.low == pytest.approx(half, rel=1e-9)
        assert found.acceleration.coverage == coverage


def test_intervals_cover_the_truth() -> None:
    """200 noisy slides at 95 %: from 178 to 199 covered but for one case in ten thousand (binomial)."""
    covered = 0
    for seed in range(200):
        found = fit_stretch(clean(sliding(20, noise=0.001, seed=seed)), 0.0, 9.0).acceleration
        covered += found.low <= 1.3 <= found.high
    assert 178 <= covered <= 199


def test_only_unflagged_samples_inside_count() -> None:
    record = sliding(noise=0.0002)
    distance = record.distance.copy()
    distance[[6, 7]] = np.nan
    found = fit_stretch(clean(dataclasses.replace(record, distance=distance)), 0.59, 1.21)
    assert found.samples == 11
    assert found.start_s == pytest.approx(0.6) and found.end_s == pytest.approx(1.2)
    assert found.acceleration.value == pytest.approx(1.3, abs=4.0 * found.acceleration.u)


@pytest.mark.parametrize("step", [0.001, 0.01])
def test_a_quantised_slide_is_not_known_better_than_its_step(step: float) -> None:
    record = sliding()
    found = fit_stretch(clean(dataclasses.replace(record, distance=np.round(record.distance / step) * step)), 0.0, 9.0)
    assert found.noise_m >= step / math.sqrt(12.0)
    assert found.acceleration.value == pytest.approx(1.3, abs=4.0 * found.acceleration.u)


@pytest.mark.parametrize(("start", "end", "left"), [(0.4, 0.52, 3), (5.0, 6.0, 0), (1.0, 0.9, 0)])
def test_too_few_samples(start: float, end: float, left: int) -> None:
    with pytest.raises(AnalysisError, match=f"only {left} usable samples lie between {start:g} s and {end:g} s") as caught:
        fit_stretch(clean(sliding()), start, end)
    assert caught.value.code == "too-short"
    assert caught.value.remedy


def test_the_public_function_takes_paths_records_and_traces(tmp_path: Path) -> None:
    record = sliding(noise=0.001)
    file = tmp_path / "slide.csv"
    rows = "".join(f"{t:.6f},{d:.9f}\n" for t, d in zip(record.time, record.distance, strict=True))
    file.write_text("time (s),distance (m)\n" + rows, encoding="utf-8")
    found = [joulebook.fit_stretch(each, 0.5, 1.5).acceleration for each in (file, str(file), record, clean(record))]
    assert found[2] == found[3]
    assert [each.value for each in found] == pytest.approx([found[2].value] * 4, rel=1e-6)
    assert joulebook.fit_stretch(record, 0.5, 1.5, coverage=0.68).acceleration.coverage == 0.68
    with pytest.raises(RecordError):
        joulebook.fit_stretch(tmp_path / "none.csv", 0.0, 1.0)


def test_a_stretch_is_frozen() -> None:
    found = fit_stretch(clean(sliding()), 0.0, 9.0)
    assert isinstance(found, Stretch)
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.samples = 3  # type: ignore[misc]
