"""An audit shows itself in a notebook as a short card, and as plain words elsewhere."""

from __future__ import annotations

from pathlib import Path

import joulebook
from joulebook.planning.demo_section import write_demo


def test_an_audit_displays_itself(tmp_path: Path) -> None:
    folder = Path(write_demo(tmp_path)[0])
    audit = joulebook.audit(folder if folder.is_dir() else folder.parent, method="linear")
    bundle = audit._repr_mimebundle_()  # type: ignore[attr-defined]
    assert set(bundle) >= {"text/html", "text/plain"}
    assert audit.verdict.sentence in bundle["text/plain"].replace("\n", " ")
    assert audit.title in bundle["text/html"] and "<script" not in bundle["text/html"]
    assert set(audit._repr_mimebundle_(include={"text/plain"})) == {"text/plain"}  # type: ignore[attr-defined]
