"""The version of joulebook, where everything can import it."""

from __future__ import annotations

__all__ = ["VERSION"]

VERSION = "0.1.0"
