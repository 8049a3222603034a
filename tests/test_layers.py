"""The tree is the architecture: layers, no cycles, nothing heavy at the start, a core that works without the extras."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HEAVY = [
    "dask", "distributed", "jinja2", "numpy", "pandas", "pint", "pyarrow", "python_calamine", "rich", "scipy", "typst", "xlsxwriter",
]  # fmt: skip
EXTRAS = ["dask", "distributed", "jinja2", "pandas", "pyarrow", "typst", "xlsxwriter"]


def run_python(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    return subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, env=environment, cwd=ROOT, check=False
    )


def lint(*arguments: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    code = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    environment = {**os.environ, "PYTHONPATH": str(cwd / "src"), "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, "-c", code, "--no-cache", *arguments],
        capture_output=True,
        text=True,
        env=environment,
        cwd=cwd,
        check=False,
    )


def test_every_contract_is_kept() -> None:
    result = lint()
    assert result.returncode == 0, result.stdout + result.stderr
    assert " 0 broken" in result.stdout


def test_a_broken_layer_is_noticed(tmp_path: Path) -> None:
    """The contract can fail: the same tree with one upward import is refused, and the import is named."""
    copy_sources(tmp_path / "src")
    (tmp_path / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    errors = tmp_path / "src/joulebook/errors.py"
    errors.write_text(errors.read_text() + "\n\ndef upward() -> None:\n    import joulebook.engine.record  # noqa: F401\n")
    result = lint("--contract", "layers", cwd=tmp_path)
    assert result.returncode != 0
    assert "joulebook.errors -> joulebook.engine.record" in result.stdout


def copy_sources(target: Path) -> None:
    for path in (ROOT / "src").rglob("*.py"):
        copy = target / path.relative_to(ROOT / "src")
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(path.read_bytes())


@pytest.mark.parametrize(
    "code",
    [
        "import joulebook",
        "import joulebook.api",
        "import joulebook; dir(joulebook); joulebook.JoulebookError",
        "from click.testing import CliRunner; from joulebook.cli.main import joulebook as j; "
        "assert 'sweep' in CliRunner().invoke(j, ['--help']).output",
        "from click.testing import CliRunner; from joulebook.cli.main import joulebook as j; "
        "assert '--rest' in CliRunner().invoke(j, ['audit', '--help']).output",
    ],
    ids=["import", "api", "names", "help", "audit-help"],
)
def test_nothing_heavy_is_loaded_at_the_start(code: str) -> None:
    result = run_python(f"import sys; {code}; print(*sorted(set({HEAVY!r}) & set(sys.modules)))")
    assert result.returncode == 0, result.stderr
    assert result.stdout.strip() == ""


def test_the_core_works_without_the_extras(tmp_path: Path) -> None:
    """An audit with terminal report, JSON, working and trace needs none of the libraries of the extras."""
    code = f"""
import sys

class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {EXTRAS!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)

sys.meta_path.insert(0, Absent())
import numpy as np
from click.testing import CliRunner
from joulebook.cli.main import joulebook
from joulebook.planning.design import random_design
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench

rng = np.random.default_rng(1)
write_bench_folder(simulate_bench(random_design(rng, rate=20.0, angle=8.0, hands=False), rng), "bench")
for command in ("audit bench", "audit bench --json", "audit bench --working", "audit bench --csv -", "sweep . --workers 1"):
    arguments = command.split()
    result = CliRunner().invoke(joulebook, arguments)
    assert result.exit_code == 0, (arguments, result.output, result.exception)
    assert len(result.output) > 100
result = CliRunner().invoke(joulebook, ["audit", "bench", "--html", "page.html"])
assert result.exit_code == 3
assert "needs the library" in result.output and "joulebook[reports]" in result.output
"""
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, cwd=tmp_path, check=False
    )
    assert result.returncode == 0, result.stderr


def test_the_commands_let_numpy_use_one_thread_unless_told_otherwise() -> None:
    code = "import os; from joulebook.threads import one_thread; one_thread(); print(os.environ['OPENBLAS_NUM_THREADS'])"
    bare = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    for given, expected in (({}, "1"), ({"OPENBLAS_NUM_THREADS": "2"}, "2")):
        done = subprocess.run([sys.executable, "-c", code], env={**bare, **given}, capture_output=True, text=True, check=True)
        assert done.stdout.strip() == expected
    # Said before NumPy is loaded: the command's own module loads none of it.
    told = run_python("import sys, joulebook.cli.main as main; print('numpy' in sys.modules, main.one_thread.__module__)")
    assert told.stdout.split() == ["False", "joulebook.threads"]
