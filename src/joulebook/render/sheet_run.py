"""The teacher's run sheet: one period, minute by minute, for a substitute who is no physicist."""

from __future__ import annotations

from dataclasses import replace

from joulebook.engine.house import House
from joulebook.render.sheet_blocks import Block, Fields, Heading, Keep, Listing, Part, Tabled, Text, WritingLines
from joulebook.render.sheet_card import cautions_block
from joulebook.render.sheet_pictures import draw_faults, draw_good_data

__all__ = ["compose_run_sheet", "timeline"]

# Common practice in the trade, no source: minutes of a period of 45.
_STAGES: tuple[tuple[str, int, str, str, str], ...] = (
    (
        "Welcome and safety", 5,
        "Read the cautions and the local rules aloud. Hand out worksheets. Say: “Predict first. Nothing moves yet.”",
        "Listen. Write the prediction, step 1.",
        "every group has a prediction in writing",
    ),
    (
        "Set up and slope", 8,
        "Pass every bench once. Ask: “Is the track straight and firm? Show me where you measure the rise.”",
        "Set up by the bench card. Weigh the cart, measure rise and length.",
        "mass, rise and length are written down, each with its ±",
    ),
    (
        "Rest record", 5,
        "Look at each bench: plunger out, cart at the stop, hands off.",
        "Record the cart at rest for three seconds. Save it as rest.",
        "the screen shows a flat line, and it is saved",
    ),
    (
        "Launches", 12,
        "Lowest setting first. Hold one curve of each bench against the picture of good data. At the last minute, stop all "
        "launches.",
        "Launch, look, save. One file for each launch.",
        "each bench has saved two good curves; three are better",
    ),
    (
        "Calculate and compare", 10,
        "Ask, do not tell. A group that is stuck gets one strip of a hint card, the first one first.",
        "Work out launch 1, compare the energies, write a claim.",
        "each group has a claim with a reason; “we cannot tell” is one",
    ),
    (
        "Pack up and exit", 5,
        "Collect worksheets. See that all files are in the folder. Count the carts.",
        "Pack up. Say one thing that you would improve.",
        "the carts are back and nothing is on the floor",
    ),
)  # fmt: skip
# Who gets the minutes beyond 45, in turn: launches, calculation, set-up.
_EXTRA = (3, 4, 3, 4, 1)


def timeline(minutes: int) -> tuple[int, ...]:
    """Return the minutes of each stage, which add up to those of the period.

    What a period has beyond 45 goes to launches, calculation and set-up; what it lacks comes from the longest stages in turn.
    """
    stages = [each[1] for each in _STAGES]
    for turn in range(max(0, minutes - sum(stages))):
        stages[_EXTRA[turn % len(_EXTRA)]] += 1
    while sum(stages) > minutes:
        stages[stages.index(max(stages))] -= 1
    return tuple(stages)


def compose_run_sheet(house: House, *, benches: tuple[str, ...] = (), large: bool = False) -> Part:
    """Return the run sheet of one period. benches: the titles of the section's benches, when they are known."""
    cautions = cautions_block(house)
    blocks: tuple[Block, ...] = (
        Fields((("Lesson starts at", ""), ("In an emergency call", ""))),
        Fields((("Responsible teacher", ""),)),
        Text(
            "You need no physics for this. A spring, the plunger, fires a small cart up a sloping track; the cart rolls back by "
            "itself. A ranger at one end measures with sound how far away the cart is, and a curve of distance against time "
            "appears. The class asks whether the cart has as much energy at the top as when it left the plunger. Your part is "
            "safety, time and questions.",
        ),
        Text("Never tell a group whether its result is right. The answer sheet is for later.", lead="One rule.", boxed=True),
        Keep((
            Heading("Before the class", "ten minutes"),
            Listing(
                (
                    f"On each bench{_listed(benches)}: track, stop with plunger, cart, ranger, balance, ruler, tape, bench card, "
                    "worksheets.",
                    "The lab computers are on. You know in which folder the groups save their files.",
                    "The hint cards are cut, with the first strip on top. The teacher’s hints and answers stay with you.",
                ),
                style="ticks",
            ),
        )),
        _period(house, large),
        replace(cautions, local=replace(cautions.local, label="Local rules: read these aloud too, and add your own", height=2)),
        Keep((Heading("What good data look like"), draw_good_data(large=large))),
        Listing((
            "Flat: the cart waits, cocked. A second of this is enough.",
            "Steep: the plunger pushes, very briefly.",
            "One smooth, rounded dip of close points: the cart climbs and turns. This is the part that counts.",
            "Back again: the cart rolls down by itself. Nobody catches it.",
            "Smaller and smaller dips: it bounces at the stop.",
        ), style="numbers"),
        Text("With the ranger at the bottom end, the same curve stands upside down. Other heights and times are no fault."),
        Keep((
            Heading("The three commonest faults"),
            draw_faults(large=large),
            Tabled(
                "What you see, what you ask, what helps", ("", "You see", "Ask", "What helps"),
                (
                    ("A", "The curve starts or ends in the middle of the ride.", "“Which moments of the ride are missing?”",
                     "Start recording, count to two, launch, wait until the cart stands."),
                    ("B", "The dip has a flat bottom, or a jump.", "“How near was the cart to the ranger there?”",
                     "Launch more weakly, or move the ranger back."),
                    ("C", "Single points far away from the curve.", "“What else can the ranger see?”",
                     "Clear hands and things from its line. Point it straight along the track."),
                ),
                (0.4, 3.0, 3.0, 3.6),
            ),
            Text("With any of them the group records again; nothing is mended by calculating."),
        )),
        Keep((
            Heading("Good questions"),
            Tabled(
                "For any bench", ("When", "Ask"),
                (
                    ("they measure", "“Where exactly did you hold the ruler? How far may that be off?”"),
                    ("a curve is there", "“Which stretch is the cart going up? How do you know?”"),
                    ("they have a result", "“Could your ± hide that difference?”"),
                    ("they blame friction", "“How large would that effect be, and in which direction?”"),
                    ("they are finished", "“What would you measure again if you had ten minutes more?”"),
                    ("they ask you", "“How could you find out at this bench?” What is left, they write down for the teacher."),
                ),
                (2.2, 7.0),
            ),
        )),
        Keep((
            Heading("If something does not work"),
            Listing((
                "A ranger does not answer: plug it in again, start its program again. After three minutes the group joins the "
                "next bench. Five people with good data beat two groups with none.",
                "A curve stays bad after three tries: the same. The group writes down what it saw; that is a result too.",
                "Time runs short: two launches are enough. Calculating can be homework, measuring cannot.",
                "Somebody is hurt or something breaks: stop all launches. Then follow the rules of your school.",
            )),
            Text(
                "Leave ranger and computer out. Each group launches five times at one setting, marks the highest point each time "
                "with tape, and works out height = way along the track × rise ÷ length. Then a steeper slope, same setting, five "
                "times more. The question for the class: does the cart reach the same height both times, within the ±?",
                lead="If no ranger works at all:", boxed=True,
            ),
        )),
        Keep((
            Heading("joulebook in the room", "only if you like, and if the groups’ files are on this computer"),
            Tabled(
                "Two commands on the teacher’s computer", ("Type", "It tells you"),
                (
                    ("joulebook sweep FOLDER", "one line for each bench, and where to go first"),
                    ("joulebook audit FOLDER/bench-3 --html bench-3.html", "all about one bench, as a page to open"),
                ),
                (4.2, 4.0),
            ),
            Text("It says Stop: the group records again. It says Look: ask the group a question first. Show the screen to "
                 "nobody. If joulebook does not run, go on without it: nothing in this lesson needs it."),
        )),
        WritingLines("For the teacher: benches that did not finish, broken parts, questions that were left.", 3),
    )  # fmt: skip
    return Part("Cart on the ramp: how to run the lesson", "Run sheet for the teacher", "teacher", blocks, keep=benches)


def _period(house: House, large: bool) -> Tabled:
    rows = []
    start = 0
    for (title, _, teacher, students, ready), minutes in zip(_STAGES, timeline(house.minutes), strict=True):
        when = f"{start}–{start + minutes}"
        # Five columns of large letters leave no room for a word.
        rows.append((f"{when}: {title}", teacher, students, ready) if large else (when, title, teacher, students, ready))
        start += minutes
    caption = f"A period of {house.minutes} minutes"
    if large:
        return Tabled(caption, ("Minute", "You", "The groups", "Go on when"), tuple(rows), (2.4, 3.6, 3.1, 3.0))
    headings = ("Minute", "Stage", "You", "The groups", "Go on when")
    return Tabled(caption, headings, tuple(rows), (1.3, 1.7, 3.6, 2.9, 2.6))


def _listed(benches: tuple[str, ...]) -> str:
    return f" ({len(benches)} of them)" if benches else ""
