"""The package must be cheap to import: what is heavy is loaded where it is used, if at all."""

from __future__ import annotations

import os
import subprocess
import sys

HEAVY = ("scipy.stats", "scipy.optimize", "pint", "pandas", "mpmath")


def test_nothing_heavy_is_imported_or_used():
    code = (
        "import sys, numpy as np; from joulebook.uncertainty import Block, Input, monte_carlo;"
        "b = Block(('p', 'q'), np.zeros(2), np.eye(2), dof=5.0);"
        "monte_carlo(lambda x: dict(x), [Input('a', 0.0, '1', 1.0, 't', dof=4.0)], [b], rng=np.random.default_rng(1));"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment)
    assert done.stdout.strip() == "[]"
