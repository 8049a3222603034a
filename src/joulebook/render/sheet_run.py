"""The teacher's run sheet: one period, minute by minute, for a substitute who is no physicist."""

from __future__ import annotations

from joulebook.engine.house import House
from joulebook.render.sheet_blocks import Block, Heading, Keep, Listing, Part, Tabled, Text
from joulebook.render.sheet_card import cautions_block
from joulebook.render.sheet_pictures import draw_faults, draw_good_data

__all__ = ["compose_run_sheet", "timeline"]

# Common practice in the trade, no source: minutes of a period of 45.
_STAGES: tuple[tuple[str, int, str, str], ...] = (
    ("Welcome and "
    "safety", 5, "Read the cautions aloud. Hand out worksheets. Step 1, predict, before anything "
    "moves.", "Listen, predict, write it down."),
    ("Set up and slope", 8, "Walk round once. Each bench measures rise and "
    "length.", "Set up by the bench card. Write each reading with its ±."),
    ("Rest record", 5, "Check: plunger out, cart at the stop, three seconds.", "Record the cart at rest and save it as rest."),
    ("Launches", 12, "Look at one curve of every bench (below). Lowest setting "
    "first.", "Launch, look, save. One file for each launch."),
    ("Calculate and "
    "compare", 10, "Ask, do not tell. Hand out hint cards one strip at a time.", "Work out launch 1, compare, make a claim."),
    ("Pack up and exit", 5, "Collect files and worksheets. Count the carts.", "Pack up. Say one thing that you would improve."),
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
    blocks: tuple[Block, ...] = (
        Text(
            "You need no physics for this. Each group fires a cart up a sloping track. A ranger, which measures distance with "
            "sound, writes a "
            "curve. The class asks whether the cart has as much energy at the top as when it left the bottom. Your part is "
            "safety, time and questions.",
        ),
        Text("Never tell a group whether its result is right. The answer sheet is for later.", lead="One rule.", boxed=True),
        _period(house),
        Keep((
            Heading("Before the class"),
            Listing(
                (
                    f"On each bench{_listed(benches)}: track, stop with plunger, cart, ranger, balance, ruler, bench card, "
                    f"worksheets.",
                    "The lab computer is on, and you know the folder where the groups save their files.",
                    "The hint cards are cut and in order. The sheet for the teacher stays with you.",
                ),
                style="ticks",
            ),
        )),
        cautions_block(house),
        Keep((Heading("What good data look like"), draw_good_data(large=large))),
        Listing((
            "Steady: the cart waits. A second of this is enough.",
            "Steep: the plunger pushes, very briefly.",
            "One smooth, rounded dip: the cart climbs and turns. This is the part that counts.",
            "Back again: the cart rolls down by itself. Nobody catches it.",
            "Smaller and smaller dips: it bounces at the stop.",
        ), style="numbers"),
        Text("With the ranger at the bottom end, the same curve stands upside down."),
        Keep((
            Heading("The three commonest faults"),
            draw_faults(large=large),
            Tabled(
                "What you see and what you say", ("", "You see", "Say"),
                (
                    ("A", "The curve starts or ends in the middle of the ride.", "“Which moments of the ride are missing? "
                    "Record once more: start, count to two, launch, wait.”"),
                    ("B", "The dip has a flat bottom, or a jump.", "“How near was the cart to the ranger there? What could "
                    "you change on the track?”"),
                    ("C", "Single points far away from the curve.", "“What else can the ranger see? Look along its line.”"),
                ),
                (0.5, 3.0, 5.0),
            ),
        )),
        Keep((
            Heading("Good questions for any bench"),
            Listing((
                "“How do you know? Show me on the curve.”",
                "“Which of your readings is the least certain?”",
                "“What would you measure again if you had ten minutes more?”",
                "“Could your ± hide that difference?”",
                "“How large would that effect be, and in which direction?”",
            )),
        )),
        Keep((
            Heading("joulebook in the room: two commands"),
            Text("Only if the groups’ files are on this computer. Show the results to nobody before they have written down "
            "their own."),
            Tabled(
                "On the teacher’s computer", ("Type", "It tells you"),
                (
                    ("joulebook sweep FOLDER", "one line for each bench, and where to go first"),
                    ("joulebook audit FOLDER/bench-3 --html bench-3.html", "all about one bench, as a page to open"),
                ),
                (4.2, 4.0),
            ),
            Text("It says Stop: the group records again. It says Look: ask the group a question first. If joulebook does not "
            "run, go on without it: nothing in this lesson needs it."),
        )),
        Keep((
            Heading("If things go wrong"),
            Listing((
                "A ranger does not answer: share a bench. A group of five with good data beats two groups with none.",
                "Time runs out: two launches are enough. Calculation can be homework, the readings cannot.",
                "Somebody is hurt or something breaks: stop all launches. Then follow the rules of your school.",
            )),
        )),
    )  # fmt: skip
    return Part("Cart on the ramp: how to run the lesson", "Run sheet for the teacher", "teacher", blocks, keep=benches)


def _period(house: House) -> Tabled:
    rows = []
    start = 0
    for (title, _, teacher, students), minutes in zip(_STAGES, timeline(house.minutes), strict=True):
        rows.append((f"{start}–{start + minutes}", title, teacher, students))
        start += minutes
    caption = f"A period of {house.minutes} minutes"
    return Tabled(caption, ("Minute", "Stage", "You", "The groups"), tuple(rows), (1.7, 2.2, 3.9, 3.3))


def _listed(benches: tuple[str, ...]) -> str:
    return f" ({len(benches)} of them)" if benches else ""
