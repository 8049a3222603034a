"""Hints for the ramp launch, four grades to each finding: the same words on the hint cards, in the room and in a diagnosis pack.

The first three grades are for students: where to look again, a question, where to measure. None of them says what is wrong or
gives a number that the students are to find. The fourth is for the teacher alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["CLEAN", "GRADES", "HINTS", "Hint"]

GRADES: Mapping[str, str] = MappingProxyType(
    {
        "look": "Look again",
        "question": "A question",
        "measure": "Where to measure",
        "teacher": "For the teacher only",
    }
)
"""What each grade is called, in the order in which it is given."""


@dataclass(frozen=True, slots=True)
class Hint:
    """Hints in four grades about one finding.

    look: where to look again. question: what to ask the group. measure: where to measure or what to record.
    teacher: what is the matter, how it shows and what it does to the energies; never for students.
    """

    look: str
    question: str
    measure: str
    teacher: str


HINTS: Mapping[str, Hint] = MappingProxyType(
    {
        "no-launch": Hint(
            "Look at the whole curve from start to end. How many centimetres lie between its highest and its lowest point?",
            "What should the distance do while a cart climbs, turns and rolls back? Does this curve do that anywhere?",
            "Record again: start, count to two with the cart standing cocked, release, and let the recording run for some "
            "seconds.",
            "Nothing in the record is a launch: it was started too early or too late, the pin was never pulled, or the wrong "
            "run was saved. There is nothing to correct; a new record takes a minute.",
        ),
        "cut-short": Hint(
            "Look at the first and the last second of the curve. What was the cart doing at these two moments?",
            "Which moments of the ride do you need for the two energies, and are all of them on the record?",
            "Record again so that the cart is at rest in the first second and back at the stop before the end.",
            "The release, the apex or the descent is missing from the record. Without the apex there is no potential energy; "
            "without the descent there is no rolling resistance. What the record lacks no calculation brings back.",
        ),
        "too-close": Hint(
            "Look at the point where the cart is nearest to the motion sensor. Is the curve still as smooth there as elsewhere?",
            "How near may something be before a motion sensor can no longer tell how far it is?",
            "Hold a tape measure between motion sensor and cart at the nearest point of the ride, and compare with its least "
            "range.",
            "The cart comes into the blind zone. The flat stretch or the jump there is no motion of the cart. If it is the "
            "apex, the height is guesswork: launch more weakly, tilt more, or move the ranger back.",
        ),
        "too-far": Hint(
            "Look at the part of the curve with the largest distances. Are the points still in line with each other?",
            "What comes back to the motion sensor when the cart is small and far away?",
            "Measure by tape how far the cart gets from the motion sensor, and record it standing there for three seconds.",
            "The cart leaves the ranger's reach: cells are blank there or the echo is not the cart's. Bring the ranger nearer "
            "or put a flat card of a hand's size on the cart.",
        ),
        "too-slow": Hint(
            "Count the points between the release and the highest point of the ride.",
            "If two of these points were missing, would you still see when the cart turned?",
            "Find the setting of the motion sensor for samples per second, and work out how many samples fall into one climb.",
            "The ranger is set to so few samples per second that the climb holds only two or three. The speed at release then "
            "rests on the model alone. Set 20 per second or more and record again.",
        ),
        "lost-echo": Hint(
            "Look for places where the curve has no points. Are there rows without a distance in the table?",
            "What does a motion sensor write down when no echo comes back to it?",
            "Sight along the track from the motion sensor: does the cart's front stay square to it and in the middle all the way?",
            "Readings are missing over a good part of the ride. The fit bridges the hole with less to stand on, and the "
            "uncertainties grow. The usual cause is the aim of the ranger or a target that is too small or slanting.",
        ),
        "ghost-echo": Hint(
            "Look for single points that lie far away from their neighbours.",
            "Could the cart have been there, and back again, within one sample?",
            "Take the distance of such a point and measure with a tape what stands just there, beside or behind the track.",
            "Single echoes come from something else: the far wall, a neighbour's ranger, or the next sound cycle (about 3 mm). "
            "They are flagged and not fitted. A student who reads the largest or smallest value off the table reads one of "
            "these.",
        ),
        "stuck-echo": Hint(
            "Look for a stretch where the distance does not change. Was the cart really standing still there?",
            "Just before and just after that stretch, how fast was the cart moving?",
            "Take the distance of the flat stretch and measure with a tape what stands at that place.",
            "For some samples the ranger saw a fixed object instead of the cart, with no mark in the file. It looks like a "
            "calm apex and gives a wrong height. Clear the bench beside the track and aim the ranger again.",
        ),
        "clock": Hint(
            "Look down the time column alone. By how much does it grow from one row to the next?",
            "How long does one ride take by a wristwatch, and how long does the record say?",
            "Time one whole ride with a stopwatch and compare.",
            "The time column is no clock: it jumps, repeats, or is wrong by a factor. Speeds go with one over time and the "
            "kinetic energy with its square. Export the record again; do not repair the column by hand.",
        ),
        "no-rest": Hint(
            "Look at the list of your records. Is there one of the cart standing still at the stop?",
            "From which level do you count the height, and how do you know where it is?",
            "Record the cart for three seconds, at rest against the stop, plunger out.",
            "There is no rest record, so the zero of height is taken from the launch record itself and is less certain. It "
            "takes ten seconds to make one, as long as nothing has been moved.",
        ),
        "rest-mismatch": Hint(
            "Compare the distance in your rest record with the distance at which the cart comes to rest after the launch.",
            "What may have happened on the bench between these two records?",
            "Take the rest record again now and compare it with the first one.",
            "The stop, the ranger or the track was moved between the rest record and the launch. Heights counted from the old "
            "level are wrong by the shift. Fix both ends and repeat the rest record, better also the launch.",
        ),
        "rest-cocked": Hint(
            "Compare the distance in your rest record with the first second of the launch record, before the release.",
            "At which moment has the plunger given the cart all its energy, and where is the cart then?",
            "Record the cart at rest against the stop once with the plunger cocked and once with it out.",
            "The rest record shows the cocked cart, not the level of release. Counted from there the climb is longer by the "
            "stroke of the plunger and the potential energy is too large, typically by 5 to 12 %.",
        ),
        "wrong-side": Hint(
            "Look at what the distance does while the cart climbs: does it grow or shrink?",
            "At which end of the track does the motion sensor stand, and what did you write down?",
            "Hold a hand between motion sensor and cart and watch which way the reading goes.",
            "The bench file names the wrong end for the ranger. The record is believed, so the energies are right; but a "
            "student who reads the largest positive speed off a falling distance takes the return speed, which is too small.",
        ),
        "angle-mismatch": Hint(
            "Look at your slope again: which reading is it made of, and how well do you know that one?",
            "How much would the potential energy change if your angle were half a degree off?",
            "Measure the height of two places on the track above the bench and the length between them, with the track as it "
            "was at the launch.",
            "The stated slope does not agree with the slope that the cart's own motion shows. Everything in the potential energy "
            "follows the stated one, so this error is carried into the balance in full. A wrong distance scale or a heavy set of "
            "wheels can look the same, though smaller.",
        ),
        "angle-suspect": Hint(
            "Look at the angle that you wrote down, and then at the track. Do they look alike?",
            "Between which two lines did you measure this angle, and in which unit?",
            "Measure height and length of the track instead, and work out the angle from these two.",
            "The number is an angle of another kind: from the vertical, in radians, or a slope in per cent. The potential "
            "energy is wrong by a large factor until it is corrected; the records are fine.",
        ),
        "mass-suspect": Hint(
            "Look at the mass that you wrote down, with its unit. Could you lift it with one finger?",
            "What in this room has about that mass?",
            "Weigh the cart again and write the unit next to the number.",
            "The mass is none of a lab cart, most often grams written as kilograms. All joules are wrong by that factor, the "
            "ratio of the two energies is not, so nothing in the comparison gives it away.",
        ),
        "units-suspect": Hint(
            "Look at the largest distance in the table and then at the length of your track.",
            "In which unit would this number be possible?",
            "Measure by tape from the motion sensor to the cart at the stop and compare with the record.",
            "The distances are in another unit than the heading or the bench says, or were converted twice. Energies are then "
            "wrong by powers of ten. Tell the reader the unit or export again.",
        ),
        "pushed-by-hand": Hint(
            "Look at the curve just before the cart is free. How long does it take to get up to speed?",
            "What touched the cart while it gained its speed, and where did that end?",
            "Launch three times in the same way and compare the three heights.",
            "The cart was pushed by hand: the push is long and ragged and ends above the stop, so that the release level is "
            "not the rest level, and no two launches are alike. Let them cock the plunger and release it without touching the "
            "cart.",
        ),
        "caught": Hint(
            "Look at what happens after the highest point. Does the cart come back by itself?",
            "What does the way down tell you that the way up does not?",
            "Record again with all hands off the track until the cart has bounced at the stop.",
            "Someone caught the cart. What was recorded before can be used, but part of the descent is missing, and with it the "
            "rolling resistance is less certain; caught before the apex, there is no height at all.",
        ),
        "second-launch": Hint(
            "Count the high points of the curve. Is each of them lower than the one before?",
            "Can a cart that bounces off a stop rise higher than before, by itself?",
            "Save every launch as a record of its own, and note its number.",
            "The cart was launched twice in one record. The first launch is used; a student who takes the speed of one launch "
            "and the height of the other compares two different rides.",
        ),
        "soft-stop": Hint(
            "Look at the lowest points of the curve, where the cart meets the stop. Are they sharp or round?",
            "Where exactly does the stop let go of the cart?",
            "Press the cart gently against the stop and measure how far it gives.",
            "The stop is soft or magnetic and pushes over a long way, so the point of release is not sharp. Not a mistake: the "
            "uncertainty is wider for it. A stiffer plunger would narrow it.",
        ),
        "misfit": Hint(
            "Look along the track with one eye close to its surface. Is it straight?",
            "What would make the cart slow down unevenly on its way?",
            "Lay a straight edge on the track, or measure its height above the bench at three places.",
            "The motion is not that of a straight track with steady resistance: the track sags, a wheel rubs, the raised end "
            "gives, or the ranger stands beside the axis. The size of the misfit is added to the uncertainty.",
        ),
        "velocity-only": Hint(
            "Look at the headings of the columns in your file.",
            "How does a logger get a speed, when all that it measures is a distance?",
            "Export the record again with the column of distances.",
            "The file holds speeds but no distances. A logger smears its speeds over several samples, so that the tallest one "
            "is too small just where it is wanted, and height cannot be had from them at all. The record itself is still in "
            "the logger.",
        ),
    }
)  # fmt: skip
"""The hints by finding code, one for each code of `ramp_codes`."""

CLEAN = Hint(
    "Look at each part of the curve in turn: standing, push, climb, turn, descent, bounce. Is there anything that you cannot "
    "name?",
    "Which of your inputs would change the result most if it were slightly off?",
    "Repeat the launch without changing anything, and see by how much the result changes.",
    "Nothing is wrong with this record. What limits it is in its budget of uncertainty, not in a mistake.",
)
"""Hints for a record in which nothing is the matter."""
