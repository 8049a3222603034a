"""Without PostgreSQL its tests are skipped on somebody's laptop, and fail in CI: nothing is left out unseen."""

from __future__ import annotations

import pytest
from tests import postgres


@pytest.mark.parametrize("missing", ["postgres", "initdb"])
def test_a_missing_server_fails_in_ci_and_is_skipped_elsewhere(monkeypatch: pytest.MonkeyPatch, missing: str) -> None:
    monkeypatch.setattr(postgres, "program", lambda name: None if name == missing else f"/usr/bin/{name}")
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="PostgreSQL is not installed"):
        postgres.require_postgres()
    monkeypatch.delenv("CI")
    with pytest.raises(pytest.skip.Exception, match="PostgreSQL is not installed"):
        postgres.require_postgres()
    monkeypatch.setattr(postgres, "program", lambda name: f"/usr/bin/{name}")
    postgres.require_postgres()
