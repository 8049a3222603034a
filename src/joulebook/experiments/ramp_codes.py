"""The findings of the ramp launch: what each code means, and what to do about it (DESIGN §6)."""

from __future__ import annotations

from joulebook.engine.experiment import FindingCode
from joulebook.engine.report import Finding, Severity
from joulebook.engine.run import Run

__all__ = ["CODES", "finding"]


def finding(code: str, severity: Severity, message: str, run: Run | None = None, **evidence: object) -> Finding:
    """Return a finding of the ramp launch with its documented remedy.

    message: what was seen, with number and place, why it matters and how much it changes the answer. run: the launch that it is
    about, whose name is put in front of the message and into the evidence; None for the bench as a whole. evidence: SI units.
    """
    if run is not None:
        evidence, message = {"record": run.file, **evidence}, f"{run.file}: {message}"
    return Finding(code, severity, message, _REMEDIES[code], evidence)


CODES: tuple[FindingCode, ...] = (
    FindingCode(
        "no-launch", ("stop",), "No launch in the record",
        "The record holds no stretch in which the cart climbs, slows, turns and comes back as it would on a slope.",
        "Start the recording, wait a second with the cart standing cocked, then release the plunger.",
    ),
    FindingCode(
        "cut-short", ("stop", "look"), "The record starts too late or ends too early",
        "The climb or the first descent is only partly on record. Without the turn there is no apex and no ledger; without the "
        "descent the rolling resistance is not measured.",
        "Start recording before the release, and go on until the cart has come back to the stop.",
    ),
    FindingCode(
        "too-close", ("stop", "look"), "The cart comes into the ranger's blind zone",
        "Nearer than its least range a ranger reads a floor or something behind the cart. An apex in there is not measured.",
        "Launch more weakly, tilt the track more, or move the ranger back.",
    ),
    FindingCode(
        "too-far", ("stop", "look"), "The cart goes beyond the ranger's reach",
        "Beyond its range the ranger loses the cart, or reads something else.",
        "Bring the ranger nearer, launch more weakly, or give the cart a larger, flat target.",
    ),
    FindingCode(
        "too-slow", ("stop", "look"), "Too few samples on the flight",
        "A climb of two or three samples cannot show how the cart slows: the numbers then rest on the model alone.",
        "Set the ranger to 20 samples per second or more.",
    ),
    FindingCode(
        "lost-echo", ("stop", "look"), "The ranger loses the cart",
        "Blank readings leave holes in the flight; the fit bridges them, with less to stand on.",
        "Aim the ranger along the track, clear the bench beside it, and give the cart a flat target of a hand's size.",
    ),
    FindingCode(
        "ghost-echo", ("look", "note"), "Readings that are not the cart",
        "Single readings jump to another object, or by one sound cycle. They are flagged and left out of the fit.",
        "Aim the ranger, clear what stands beside the track, and turn neighbouring rangers the same way.",
    ),
    FindingCode(
        "stuck-echo", ("stop", "look"), "The reading stands still while the cart moves",
        "For several samples the ranger sees a fixed object instead of the cart, at a distance that looks plausible.",
        "Clear the bench beside the track and check the aim of the ranger over the whole climb.",
    ),
    FindingCode(
        "clock", ("stop", "look"), "The time column is not a clock",
        "Times repeat, run back, jump, or are wrong by a factor. Speed goes with 1/time and energy with its square.",
        "Export the record again with time in seconds, and do not edit the time column.",
    ),
    FindingCode(
        "no-rest", ("look", "note"), "No rest record",
        "Without a record of the cart standing at the stop, plunger out, the release level comes from the launch record itself.",
        "Record the cart standing at the stop with the plunger out for three seconds.",
    ),
    FindingCode(
        "rest-mismatch", ("stop", "look"), "The rest record does not fit the launch",
        "The cart settles, or bounces, at another level than the rest record has it: stop or ranger were moved in between.",
        "Fix stop and ranger, and take the rest record again.",
    ),
    FindingCode(
        "rest-cocked", ("look",), "The rest record was taken with the plunger cocked",
        "The rest record shows the level of the cocked cart. Counted from there, the potential energy comes out too large by the "
        "stroke of the plunger.",
        "Take the rest record with the plunger out.",
    ),
    FindingCode(
        "wrong-side", ("look",), "The ranger stands at the other end",
        "The bench file names one end of the track, the record shows the other. The record is believed.",
        "Correct `placed` in the bench file.",
    ),
    FindingCode(
        "angle-mismatch", ("look",), "The stated slope is not the slope of the motion",
        "The cart's own deceleration shows another slope than the one stated. The stated one is in the ledger, so its error goes "
        "into the potential energy in full.",
        "Measure the slope again as height over length, with the cart's track as it stood during the launch.",
    ),
    FindingCode(
        "angle-suspect", ("look",), "The stated angle looks like another kind of number",
        "The angle cannot be that of this lab's track, or it fits only if read as something else: from the vertical, in radians, "
        "in per cent of slope.",
        "Give the angle to the horizontal in degrees, or height and length.",
    ),
    FindingCode(
        "mass-suspect", ("look",), "The mass is not a cart's",
        "Lab carts weigh 0.1 to 3 kg; grams typed as kilograms is the usual slip. Ratios are not touched, the joules are.",
        "Weigh the cart and write the unit.",
    ),
    FindingCode(
        "units-suspect", ("stop", "look", "note"), "The distances are in another unit",
        "The distances are too large or too small for a track, so the record is in another unit than was read.",
        "Say the unit (`--unit cm`, or in the heading), and export the record again if in doubt.",
    ),
    FindingCode(
        "pushed-by-hand", ("look",), "The cart was pushed by hand",
        "The push lasts longer than a plunger's, or goes on above the stop. The release is then where the hand let go.",
        "Cock the plunger and release it with the pin or the tip of a pencil; hands off the cart.",
    ),
    FindingCode(
        "caught", ("stop", "look"), "The cart was caught",
        "The cart does not come back to the stop on its own, so the descent, and with it the rolling resistance, is missing in "
        "part; when it was caught on the way up there is no apex and no ledger.",
        "Let the cart run back to the stop and bounce.",
    ),
    FindingCode(
        "second-launch", ("look",), "There is a second launch in the record",
        "A later hop rises higher than a rebound can. Only the first launch is used.",
        "Save each launch as a record of its own.",
    ),
    FindingCode(
        "soft-stop", ("note",), "The stop gives way",
        "A soft or magnetic stop pushes over a long stretch, so where the cart was let go is not sharp. The doubt is in the "
        "uncertainty of travel and kinetic energy.",
        "Use a stiffer plunger for the energies, or accept the wider uncertainty.",
    ),
    FindingCode(
        "misfit", ("look",), "The motion is not that of a straight track with steady resistance",
        "What the fit leaves over is more than noise: a bent track, a resistance that changes, a slope that gives, or a ranger "
        "off the axis. Its size is added to the uncertainty.",
        "Sight along the track and support its middle, clamp the raised end, and set the ranger in line with the cart.",
    ),
    FindingCode(
        "velocity-only", ("stop",), "The file has no positions",
        "A velocity column is smeared over several samples around every bounce; energies cannot be taken from it.",
        "Export the position or distance column.",
    ),
)  # fmt: skip

_REMEDIES = {code.code: code.remedy for code in CODES}
