"""How the numbers came about, in plain words."""

from __future__ import annotations

from joulebook.engine.report import Audit
from joulebook.render.numbers import percent

__all__ = ["method_paragraphs"]


def method_paragraphs(audit: Audit) -> tuple[tuple[str, str], ...]:
    """Return (heading, paragraph) pairs: from the samples to the verdict, and how the numbers are written."""
    return (
        (
            "The samples",
            "Each record is used as it was read. Samples that cannot be right are flagged and left out of the fit; they stay in "
            "the record, in the picture and in the CSV. No sample is altered and none is smoothed.",
        ),
        (
            "The motion",
            "After release the cart moves freely until it meets the stop again. All climbs and descents of a launch are fitted "
            "together with one deceleration for climbing, one acceleration for descending and the drag of the air. Samples taken "
            "during a push or a contact belong to no free motion. Release speed and travel are read from the fitted motion, not "
            "from single samples. What the fit leaves over sets its uncertainty, and a misfit beyond the noise is reported as a "
            "finding.",
        ),
        (
            "The energies",
            "Kinetic energy is ½ m v² at release. The wheels hold the rotating fraction of that in addition. Potential energy "
            "is m g times travel times the sine of the stated slope. Rolling resistance comes from the difference between "
            "climb and descent, drag from the drag area and the density of the air.",
        ),
        (
            "The uncertainties",
            "Every input and every fitted number carries a standard uncertainty; the budget shows what each contributes. They "
            "are propagated together, so that what cancels in a ratio, such as the mass, cancels here too. Intervals come from "
            "linear propagation (GUM), or from the Monte Carlo method of its Supplement 1 where linear propagation is not good "
            "enough; the note under a table says which. Degrees of freedom say how well an uncertainty is itself known.",
        ),
        (
            "The verdict",
            "The difference is the energy at release less the potential energy at the apex. Above its expanded uncertainty it is "
            "called a loss, below the negative of it a gain, which no physics of this bench can give. In between it is called "
            f"conserved when the expanded uncertainty is at most {percent(audit.tolerance)} of the energy, and undecided when it "
            "is more.",
        ),
        (
            "How numbers are written",
            "In 0.1385(18) J the digits in brackets are the standard uncertainty, under the last digits of the value: 0.0018 J. "
            "Values are rounded to the second digit of their standard uncertainty, and the two ends of an interval to the same "
            "place.",
        ),
    )
