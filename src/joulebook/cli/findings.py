"""`joulebook findings`: what each finding code means and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping

import click

from joulebook.errors import InputError

__all__ = ["findings"]


@click.command()
@click.argument("code", required=False)
@click.option("--experiment", default="ramp-launch", show_default=True, help="The experiment whose findings are meant.")
def findings(code: str | None, experiment: str) -> None:
    """Explain the findings that an audit can make.

    With a CODE, that one in full; without, all of them in a line each.
    """
    from joulebook.experiments import EXPERIMENTS

    if experiment not in EXPERIMENTS:
        raise InputError(f"There is no experiment {experiment!r}.", remedy=f"Known are: {', '.join(EXPERIMENTS)}.")
    table = {item.code: item for item in EXPERIMENTS[experiment].codes}
    if code is None:
        width = max(map(len, table))
        for item in table.values():
            click.echo(f"{item.code:{width}}  {item.severity:4}  {item.title}")
        return
    if code not in table:
        near = _near(code, {item.code: item.title for item in table.values()})
        hint = f"Did you mean {' or '.join(near)}?" if near else "`joulebook findings` lists them all."
        raise InputError(f"There is no finding {code!r}.", remedy=hint)
    item = table[code]
    click.echo(f"{item.code} ({item.severity}): {item.title}\n\n{_folded(item.meaning)}\n\nWhat to do: {_folded(item.remedy)}")


def _near(wanted: str, titles: Mapping[str, str]) -> list[str]:
    """Return the codes that hold the word, else those whose title holds it, else those that look like it."""
    import difflib

    word = wanted.strip().casefold().replace(" ", "-").replace("_", "-")
    held = [code for code in titles if word and word in code]
    told = [code for code, title in titles.items() if len(word) > 3 and word in title.casefold()]
    return held or told or difflib.get_close_matches(word, titles, n=3)


def _folded(text: str) -> str:
    return click.wrap_text(text, width=100, preserve_paragraphs=True)
