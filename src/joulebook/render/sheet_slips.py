"""Hints about the commonest slips in a student's own calculation, four grades each, like those about findings.

Nothing here computes: which slip a student made is the teacher's judgement. The factors in the teacher's grade hold for any bench
unless they say otherwise.
"""

from __future__ import annotations

from joulebook.experiments.ramp_hints import Hint

__all__ = ["SLIPS"]

SLIPS: tuple[tuple[str, Hint], ...] = (
    ("Cosine for sine, or the way along the track as height", Hint(
        "Look at your height. Hold a hand that high above the table.",
        "In your drawing of the track: which side of the triangle is the height, and which is the way that the cart rolls?",
        "Measure with a ruler how much higher the cart is at its turn than at the stop.",
        "PE is then far too large: at 5° about 11 times. The two slips give nearly the same number. Ask to see the line with "
        "the triangle.",
    )),
    ("Calculator in radians", Hint(
        "Look at what your calculator gives for the sine of 30 degrees.",
        "Which values can a sine have for a slope that you could walk up?",
        "Work out h ÷ L with your ruler readings and compare it with your sine.",
        "PE comes out with the wrong sign at 5°, and some 7 times too large at 8°. With height over length there is no "
        "calculator mode to forget.",
    )),
    ("A position where a difference belongs", Hint(
        "Look at the two places between which the cart climbed. Mark both on your curve.",
        "From where does the ranger measure, and from where should the way d be measured?",
        "Read the distance at release and at the turn. What lies between them?",
        "The reading at the turn, or at the start, was used as d. How far PE is off depends on where the ranger stands.",
    )),
    ("The square is forgotten", Hint(
        "Look at the line where v goes into the energy. Say each sign in it aloud.",
        "If a cart is twice as fast, is its energy twice as large?",
        "Work out the energy for v and for 2 v. Divide one by the other.",
        "KE is wrong by the factor 1/v. Close to 1 m/s this cannot be seen in the number: ask for the working.",
    )),
    ("The half is forgotten", Hint(
        "Look at the line for KE and compare it with your formula, sign by sign.",
        "Which number stands in front of m v²?",
        "Work the line out again without looking at the first time.",
        "KE is twice as large. The comparison then shows a large loss that is none.",
    )),
    ("Average speed for the launch speed", Hint(
        "Look at the curve between release and turn. Is it equally steep everywhere?",
        "At which moment do you need the speed, and which moment does your number belong to?",
        "Lay a straight line along the curve just after release, and one half-way up. Compare how steep they are.",
        "Way over time is half of the launch speed when the cart slows down steadily. KE is then a quarter.",
    )),
    ("The return speed for the launch speed", Hint(
        "Look at the time at which you read v. What does the cart do then?",
        "Does the distance grow or shrink at the launch, with the ranger where you put it?",
        "Read the speed just after release and just before the cart is back. Are they the same?",
        "With the ranger at the top the launch speed is negative, and a search for the largest speed finds the way back. KE "
        "is then some per cent too small.",
    )),
    ("The tallest value of a speed column", Hint(
        "Look at how many points lie on the steep part of the curve.",
        "How does the logger make a speed out of positions?",
        "Find the speed yourself from two positions just after release, and compare.",
        "Not the student’s fault: the column is smeared over several points. At 10 readings per second it makes KE about 17 "
        "per cent too small.",
    )),
    ("Grams for kilograms", Hint(
        "Look at the unit of every number that you put in.",
        "How many bags of sugar would weigh as much as your cart?",
        "Weigh the cart again and write the unit beside the number.",
        "Energies come out a thousand times too large. If both have it, the comparison hides it.",
    )),
    ("Centimetres for metres", Hint(
        "Look at the unit of every length that you put in.",
        "How many paces is the way that your cart rolled, according to your number?",
        "Measure the way with a tape and write it in metres.",
        "PE is a hundred times too large.",
    )),
    ("The second hop read as the first", Hint(
        "Look at the whole curve. How often does the cart turn at the top?",
        "Which of the turns belongs to your launch speed?",
        "Mark release and first turn on the curve, and read both again.",
        "The turn after a bounce is lower. PE is too small by what the bounce and the friction took.",
    )),
    ("Friction blamed for a gain", Hint(
        "Look at which of your two energies is larger.",
        "Does friction take energy out of the motion, or put it in?",
        "Find the reading whose ± could make PE smaller or KE larger.",
        "No loss can make PE larger than KE. A reading or a line of the calculation is wrong; the slope is the likeliest.",
    )),
)  # fmt: skip
"""What the slip is called for the teacher, and its hints; in about the order in which they are met."""
