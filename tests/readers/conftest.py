"""A bench folder, and reading it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from tests.readers.bench_texts import csv

from joulebook.engine.bench import Bench
from joulebook.errors import BenchFileError, Fault
from joulebook.readers.bench_file import read_bench


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A bench folder with records and no bench file yet."""
    place = tmp_path / "bench-3"
    place.mkdir()
    for number, name in enumerate(["rest.csv", "launch-1.csv", "launch-2.csv", "launch-10.csv"]):
        (place / name).write_bytes(csv(0.01 * number))
    return place


@pytest.fixture
def bench_of(folder: Path) -> Callable[..., Bench]:
    """Write a bench file and read it."""

    def read(text: str | bytes, **options: object) -> Bench:
        (folder / "bench.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_bench(folder, **options)  # type: ignore[arg-type]

    return read


@pytest.fixture
def faults_of(bench_of: Callable[..., Bench]) -> Callable[..., tuple[Fault, ...]]:
    """Write a faulty bench file, read it, and return what is wrong with it."""

    def read(text: str | bytes, **options: object) -> tuple[Fault, ...]:
        with pytest.raises(BenchFileError) as caught:
            bench_of(text, **options)
        assert caught.value.source.endswith("bench.toml")
        assert all(fault.remedy for fault in caught.value.faults)
        return caught.value.faults

    return read
