"""A kit check as a document: which bench needs what and why, the table, how the class lies, and what cannot be told.

It is composed from the JSON form `joulebook/kit-check-1`, so that a stored check can be shown again in the words of its day.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from joulebook.render.contents import Table
from joulebook.render.document import Block, Document, Drawing, Grid, Items, Labelled, Part, Text
from joulebook.render.kit_check_picture import draw_kit_measure
from joulebook.render.numbers import number
from joulebook.render.plain import clean_text

__all__ = ["NEED_WORDS", "kit_check_document", "measure_rows"]

NEED_WORDS: Mapping[str, str] = {"service": "Service", "unknown": "Run again", "watch": "Watch", "fine": "Fine"}
"""What a bench needs, in a word or two."""

_DRAWN = ("friction", "noise_moving", "repeatability", "slope_gap")

_LIMITS = (
    "Angle, distance scale, wheels and gravity enter the slope of the motion together. When it differs from the stated slope, "
    "the motion cannot say which of them is wrong; the hint at the distance scale takes the other three as stated, and is "
    "given only where the stated slope is known to 1.5 %.",
    "The repeatability of a launcher comes from a few launches: with three its own uncertainty is half of it. Five launches "
    "make it 36 %, ten 24 %.",
    "A change is called certain when a check in which nothing has changed would name one, anywhere, at most once in twenty "
    "checks (Holm's rule over all comparisons). It must also be large enough to matter.",
    "A bench stands out when its z (ISO 13528: median and MADe) is larger than the largest of as many equal benches would be. "
    "With fewer than five benches nobody can say which is the odd one.",
    "The last check is compared as far as bench files stayed the same: another stated angle or wheel mass changes slope and "
    "friction by itself.",
)


def kit_check_document(check: Mapping[str, Any]) -> Document:
    """Return a kit check in its JSON form as a document."""
    benches = check["benches"]
    against = check.get("compared_with")
    compared = f"Compared with the check of {against}." if against else "There is no earlier check to compare with."
    parts = [
        Part("What each bench needs", (Text(compared), Grid(_needs(benches), (0, 0, 1)))),
        *(_bench(bench, check) for bench in benches if bench["reasons"]),
        Part("All measures", tuple(_tables(check))),
    ]
    pictures = [Drawing(picture) for name in _DRAWN if (picture := draw_kit_measure(check, name)) is not None]
    if pictures:
        parts.append(Part("Bench by bench", tuple(pictures)))
    if check["class"]:
        parts.append(Part("How the class lies", (Grid(_class_table(check)),)))
    parts.append(
        Part(
            "What this check can and cannot tell",
            (Items(_LIMITS), Text("Values carry their standard uncertainty in brackets, in units of the last digit.")),
        )
    )
    return Document(f"Kit check of {check['date']}", "Kit check", clean_text(check["sentence"]), tuple(parts))


def measure_rows(check: Mapping[str, Any], names: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Return a row a bench: its title and its values of these measures, "–" for what is not known."""
    return [
        (clean_text(bench["bench"]), *(bench["measures"].get(name, {}).get("shown", "–") for name in names))
        for bench in check["benches"]
    ]


def _needs(benches: list[Mapping[str, Any]]) -> Table:
    rows = []
    for bench in benches:
        first = clean_text(bench["reasons"][0]["sentence"]) if bench["reasons"] else "Nothing."
        more = len(bench["reasons"]) - 1
        also = f" And {more} more {'reason' if more == 1 else 'reasons'}." if more > 0 else ""
        rows.append((clean_text(bench["bench"]), NEED_WORDS[bench["need"]], first + also))
    return Table("The benches, sorted by need", ("Bench", "Needs", "Why"), tuple(rows))


def _bench(bench: Mapping[str, Any], check: Mapping[str, Any]) -> Part:
    blocks: list[Block] = [Items(tuple(clean_text(reason["sentence"]) for reason in bench["reasons"]))]
    remedies = tuple(("What to do", clean_text(reason["remedy"])) for reason in bench["reasons"] if reason["remedy"])
    if remedies:
        blocks.append(Labelled(remedies))
    if bench["changes"]:
        blocks.append(Grid(_change_table(bench, check)))
    return Part(clean_text(bench["bench"]), tuple(blocks), mark=NEED_WORDS[bench["need"]])


def _change_table(bench: Mapping[str, Any], check: Mapping[str, Any]) -> Table:
    rows = []
    for measure in check["measures"]:
        change = bench["changes"].get(measure["name"])
        if change is None:
            continue
        chance = change["probability"]
        rows.append(
            (
                _upper(measure["label"]),
                change["before_shown"],
                bench["measures"][measure["name"]]["shown"],
                "–" if chance is None else "< 0.0001" if chance < 1e-4 else number(chance, 2),
            )
        )
    headings = ("Measure", f"On {check['compared_with']}", "Now", "Probability by chance, alone")
    return Table(f"{clean_text(bench['bench'])} against its last check", headings, tuple(rows), right=(1, 2, 3))


def _tables(check: Mapping[str, Any]) -> list[Block]:
    """Return the measures in tables that fit a sheet held upright: the ranger's, then the cart's and the stop's."""
    labels = {measure["name"]: _upper(measure["label"]) for measure in check["measures"]}
    blocks: list[Block] = []
    for caption, names in (
        ("Ranger", ("noise_still", "noise_moving", "rate", "lost")),
        ("Track and cart", ("friction", "slope_gap", "scale_hint")),
        ("Launcher and stop", ("repeatability", "release_speed", "contact_time", "restitution")),
    ):
        rows = tuple(measure_rows(check, names))
        right = tuple(range(1, len(names) + 1))
        blocks.append(Grid(Table(caption, ("Bench", *(labels[name] for name in names)), rows, right)))
    missing = [
        f"{clean_text(bench['bench'])}: {_missing(bench['missing'], labels)}" for bench in check["benches"] if bench["missing"]
    ]
    if missing:
        blocks += [Text("What is not known, and why:"), Items(tuple(missing))]
    return blocks


def _missing(missing: Mapping[str, str], labels: Mapping[str, str]) -> str:
    """Return why measures are missing, each reason once."""
    by_reason: dict[str, list[str]] = {}
    for name, why in missing.items():
        by_reason.setdefault(why, []).append(labels[name].lower())
    texts = [f"{', '.join(names) if len(names) < 6 else 'nothing else'}: {why}" for why, names in by_reason.items()]
    return "; ".join(texts) + "."


def _class_table(check: Mapping[str, Any]) -> Table:
    rows = []
    for measure in check["measures"]:
        standing = check["class"].get(measure["name"])
        if standing is None:
            continue
        farthest = max(check["benches"], key=lambda bench: abs(bench["scores"].get(measure["name"], 0.0)))
        z = farthest["scores"][measure["name"]]
        unit = f", {measure['unit']}" if measure["unit"] else ""
        if standing["logarithmic"]:
            from math import exp

            middle, spread = exp(standing["median"]) * measure["factor"], f"× {exp(standing['made']):.2f}"
        else:
            middle, spread = standing["median"] * measure["factor"], number(standing["made"] * measure["factor"], 2)
        rows.append(
            (
                _upper(measure["label"]) + unit,
                str(standing["benches"]),
                number(middle, 3),
                spread,
                f"{z:.1f}".replace("-", "−"),
                f"±{standing['limit']:.1f}",
                clean_text(farthest["bench"]),
            )
        )
    headings = ("Measure", "Benches", "Median", "MADe", "Largest z", "By chance within", "Bench")
    return Table(
        "Median and spread of the class, and the bench that lies farthest off", headings, tuple(rows), right=(1, 2, 3, 4, 5)
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
