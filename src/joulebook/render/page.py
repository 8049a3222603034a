"""One self-contained, accessible HTML page of an audit: no script, and nothing loaded from anywhere."""

from __future__ import annotations

import base64
import hashlib
from functools import cache, lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from joulebook.engine.report import Audit
from joulebook.render.contents import bind_units, compose
from joulebook.render.decimal_sign import kept_names, with_decimal, with_decimal_svg
from joulebook.render.drawing import PALETTE
from joulebook.render.pictures import Pictures

if TYPE_CHECKING:
    from jinja2 import Template

__all__ = ["page_style", "style_hash", "write_page"]


def write_page(audit: Audit, *, pictures: Pictures | None = None, decimal: str = ".") -> str:
    """Return an audit as one HTML file that loads nothing.

    pictures: drawn already (by `draw_pictures`), or None to draw them. decimal: the decimal sign, "." or ",".
    The one style block is allowed by its hash in the page's own Content-Security-Policy (CSP Level 3, 2.3.1), everything else is
    refused.
    """
    style = page_style()
    it = compose(audit, pictures=pictures)
    return _template(decimal, kept_names(audit)).render(it=it, style=style, style_hash=style_hash(style))


@cache
def page_style() -> str:
    """Return the style sheet of every page, with the rules that turn the pictures' colours in a dark page."""
    source = (files("joulebook.render") / "templates" / "page.css").read_text(encoding="utf-8")
    rules = [
        f'.picture [{attribute}="{ink.light}"]{{{attribute}:{ink.dark}}}'
        for ink in PALETTE.values()
        for attribute in ("fill", "stroke")
    ]
    return source.replace("/* dark pictures */", "\n".join(rules))


def style_hash(style: str) -> str:
    """Return the hash by which a page's Content-Security-Policy allows its one style block."""
    return "sha256-" + base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()


@lru_cache(maxsize=8)
def _template(decimal: str, keep: tuple[str, ...]) -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    def bound(value: object) -> object:
        # Markup, which is a str too, goes through untouched.
        return bind_units(with_decimal(value, decimal, keep=keep)) if type(value) is str else value

    # Everything is escaped; only the pictures, which `drawing.py` makes from numbers and escaped text, go in as they are.
    environment = Environment(
        loader=PackageLoader("joulebook.render"), autoescape=True, undefined=StrictUndefined, finalize=bound
    )
    environment.filters["svg"] = lambda svg: Markup(with_decimal_svg(svg, decimal, keep=keep))
    return environment.get_template("page.html.j2")
