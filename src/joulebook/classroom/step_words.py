"""What the parts of a bench's page are called."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["HEADINGS"]

HEADINGS: Mapping[str, str] = MappingProxyType(
    {
        "predict": "Our prediction",
        "set-up": "Set-up readings",
        "records": "Records",
        "readings": "Our readings from the trace",
        "calculation": "Our calculation",
        "uncertainty": "How sure we are",
        "claim": "Our claim",
        "commit": "Commit",
        "comparison": "Our comparison",
        "losses": "Where the energy went",
        "improve": "What we would change",
    }
)
"""What every part of the page is called, by its id."""
