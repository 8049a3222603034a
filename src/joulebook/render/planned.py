"""What a report says of inputs that are planned and not measured yet."""

from __future__ import annotations

from joulebook.engine.report import Audit
from joulebook.render.words import input_words

__all__ = ["PLANNED_QUESTION", "planned_inputs", "planned_notice"]

PLANNED_QUESTION = "Planned, not measured"
"""What the notice answers, where questions and answers stand beside each other."""


def planned_inputs(audit: Audit) -> tuple[str, ...]:
    """Return the names of the planned inputs that each bench has to measure for itself: what its experiment requires."""
    from joulebook.experiments import EXPERIMENTS

    specs = EXPERIMENTS[audit.experiment].inputs if audit.experiment in EXPERIMENTS else ()
    needed = {spec.name for spec in specs if spec.required}
    return tuple(item.name for item in audit.inputs if item.origin == "planned" and (item.name in needed or not specs))


def planned_notice(audit: Audit) -> str:
    """Return the sentence that names what was not measured, "" where mass and slope were.

    What else the plan assumed (wheels, drag, the ranger's scale) is named planned among the inputs, as defaults are.
    """
    labels = [input_words(name).label for name in planned_inputs(audit)]
    if not labels:
        return ""
    named = labels[0] if len(labels) == 1 else f"{', '.join(labels[:-1])} and {labels[-1]}"
    them = "it" if len(labels) == 1 else "them"
    return (
        f"{named[:1].upper()}{named[1:]}: from the plan. What is said here holds only for a bench that was set up just so; "
        f"measure {them} and write {them} into the bench file."
    )
