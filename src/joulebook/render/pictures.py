"""The pictures of an audit: what each shows, the sentence that says it, and the table that stands in for it."""

from __future__ import annotations

from dataclasses import dataclass

from joulebook.engine.report import Audit, LaunchAudit
from joulebook.render.picture import Picture
from joulebook.render.plain import clean_text

__all__ = ["Picture", "Pictures", "draw_pictures", "main_launch"]


@dataclass(frozen=True, slots=True)
class Pictures:
    """The pictures of one audit; None where the audit has nothing to show.

    trace, residuals: of the launch that a person should see first. joules, budget: of the whole bench.
    launches: a small trace of every launch, by file name, when there are several.
    """

    trace: Picture | None
    residuals: Picture | None
    joules: Picture | None
    budget: Picture | None
    launches: tuple[tuple[str, Picture], ...] = ()


def draw_pictures(audit: Audit) -> Pictures:
    """Draw every picture of an audit; nothing is fetched, nothing is written."""
    from joulebook.render.budget_picture import draw_budget
    from joulebook.render.energy_pictures import draw_joules
    from joulebook.render.residual_picture import draw_residuals
    from joulebook.render.trace_pictures import draw_trace

    first = main_launch(audit)
    several = len(audit.launches) > 1
    return Pictures(
        trace=draw_trace(first, name="trace") if first else None,
        residuals=draw_residuals(first, name="residuals") if first else None,
        joules=draw_joules(audit, name="joules"),
        budget=draw_budget(audit, name="budget"),
        launches=tuple(
            (clean_text(launch.file), picture)
            for index, launch in enumerate(audit.launches, start=1)
            if several and launch is not first and (picture := draw_trace(launch, name=f"launch-{index}", small=True)) is not None
        ),
    )


def main_launch(audit: Audit) -> LaunchAudit | None:
    """Return the launch to show first: the one with the gravest finding of its own, else the first that has a trace."""
    drawn = [launch for launch in audit.launches if launch.series is not None]
    for severity in ("stop", "look"):
        named = {finding.evidence.get("record") for finding in audit.findings if finding.severity == severity}
        for launch in drawn:
            if launch.file in named:
                return launch
    return drawn[0] if drawn else None
