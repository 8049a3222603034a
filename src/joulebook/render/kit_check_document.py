"""A kit check as a document: which bench needs what and why, the table, how the class lies, and what cannot be told.

It is composed from the JSON form `joulebook/kit-check-1`, so that a stored check can be shown again in the words of its day.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from joulebook.render.contents import Table
from joulebook.render.document import Block, Document, Drawing, Grid, Items, Labelled, Notes, Part, Text
from joulebook.render.kit_check_picture import draw_kit_measure
from joulebook.render.numbers import number, to_place
from joulebook.render.plain import clean_text

__all__ = ["NEED_WORDS", "kit_check_document", "kit_names", "measure_rows", "shown_reasons"]

NEED_WORDS: Mapping[str, str] = {"service": "Service", "unknown": "Run again", "watch": "Watch", "fine": "Fine"}
"""What a bench needs, in a word or two."""

_DRAWN = ("friction", "noise_moving", "repeatability", "slope_gap")

_LIMITS = (
    "Angle, distance scale, wheels and gravity enter the slope of the motion together. When it differs from the stated slope, "
    "the motion cannot say which of them is wrong; the hint at the distance scale takes the other three as stated, and is "
    "given only where the stated slope is known to 1.5 %.",
    "What a stop gives back and how long it holds the cart depend on the speed of the cart. Benches, and this check and the last, "
    "are compared only beyond what their different speeds explain.",
    "The repeatability of a launcher comes from a few launches: with three its own uncertainty is half of it. Five launches "
    "make it 36 %, ten 24 %.",
    "A change is called certain when a check in which nothing has changed would name one, anywhere, at most once in twenty "
    "checks (Holm's rule over all comparisons). It must also be large enough to matter.",
    "A bench stands out when it lies farther from the median than the farthest of as many equal benches would. With fewer than "
    "five benches nobody can say which is the odd one.",
    "The last check is compared as far as bench files stayed the same: another stated angle or wheel mass changes slope and "
    "friction by itself.",
)

_BRACKETS = "The digits in brackets are the standard uncertainty of the last digits: 0.0048(2) means 0.0048 with u = 0.0002."

_STATISTICS = (
    "Spread is 1.4826 times the median distance from the median (MADe, ISO 13528); × 1.20 means a factor. z is the distance of the "
    "farthest bench from the median in spreads, the median's own uncertainty allowed for. Equal benches stay within the last "
    "column 99 times in 100 or more often; only beyond it does a bench stand out."
)


def kit_check_document(check: Mapping[str, Any]) -> Document:
    """Return a kit check in its JSON form as a document."""
    benches = check["benches"]
    against = check.get("compared_with")
    compared = f"Compared with the check of {against}." if against else "There is no earlier check to compare with."
    parts = [
        Part("What each bench needs", (Text(compared), Grid(_needs(benches), (0, 0, 1)))),
        *(_bench(bench, check) for bench in benches if bench["reasons"]),
        Part("All measured values", (Text(_BRACKETS), *_tables(check))),
    ]
    pictures = [Drawing(picture, width=0.68) for name in _DRAWN if (picture := draw_kit_measure(check, name)) is not None]
    if pictures:
        parts.append(Part("Bench by bench", tuple(pictures)))
    if check["class"]:
        parts.append(Part("How far the benches of the class lie apart", (Text(_STATISTICS), Grid(_class_table(check)))))
    parts.append(Part("What this check can and cannot tell", (Items(_LIMITS),)))
    return Document(f"Kit check of {check['date']}", "Kit check", clean_text(check["sentence"]), tuple(parts))


def kit_names(check: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the names in a kit check whose points are no decimal signs: benches, folders and records."""
    names = [clean_text(bench[key]) for bench in check["benches"] for key in ("bench", "folder")]
    names += [
        str(finding["evidence"]["record"])
        for bench in check["benches"]
        for finding in bench["findings"]
        if "record" in finding.get("evidence", {})
    ]
    return tuple(dict.fromkeys(name for name in names if name))


def measure_rows(check: Mapping[str, Any], names: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Return a row a bench: its title and its values of these measures, "–" for what is not known."""
    return [
        (clean_text(bench["bench"]), *(bench["measures"].get(name, {}).get("shown", "–") for name in names))
        for bench in check["benches"]
    ]


def shown_reasons(bench: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return a bench's reasons as they are told, weightiest first: a measure that counts for several reasons is told once.

    Each has "sentence", "remedy" and "criterion"; the criteria of one measure stand together.
    """
    shown: dict[str, dict[str, str]] = {}
    for place, reason in enumerate(bench["reasons"]):
        key = reason["measure"] or f"reason {place}"
        # A change for the better or for the worse is news beside where the bench stands, and is told even so.
        key += " change" if reason["basis"] == "change" else ""
        same = shown.get(key)
        if same is None:
            shown[key] = {
                "sentence": clean_text(reason["sentence"]),
                "remedy": clean_text(reason["remedy"]),
                "criterion": clean_text(reason.get("criterion", "")),
            }
            continue
        same["remedy"] = same["remedy"] or clean_text(reason["remedy"])
        same["criterion"] = " ".join(filter(None, (same["criterion"], clean_text(reason.get("criterion", "")))))
    return list(shown.values())


def _needs(benches: list[Mapping[str, Any]]) -> Table:
    rows = []
    for bench in benches:
        reasons = shown_reasons(bench)
        first = reasons[0]["sentence"] if reasons else "Nothing."
        more = len(reasons) - 1
        also = f" And {more} more {'reason' if more == 1 else 'reasons'}." if more > 0 else ""
        rows.append((clean_text(bench["bench"]), NEED_WORDS[bench["need"]], first + also))
    return Table("The benches, sorted by need", ("Bench", "Needs", "Why"), tuple(rows))


def _bench(bench: Mapping[str, Any], check: Mapping[str, Any]) -> Part:
    """Return one bench: what was seen, each with a mark to its footnote, what to do, and the rules in small print below."""
    reasons = shown_reasons(bench)
    notes: list[str] = []
    pairs: list[tuple[str, str]] = []
    for reason in reasons:
        mark = ""
        if reason["criterion"]:
            notes.append(reason["criterion"])
            mark = f" {_raised(len(notes))}"
        pairs.append(("Seen", reason["sentence"] + mark))
        if reason["remedy"]:
            pairs.append(("What to do", reason["remedy"]))
    blocks: list[Block] = [Labelled(tuple(pairs))]
    if notes:
        blocks.append(Notes(tuple(f"{_raised(place)} {note}" for place, note in enumerate(notes, start=1))))
    if bench["changes"]:
        blocks.append(Grid(_change_table(bench, check)))
    return Part(clean_text(bench["bench"]), tuple(blocks), mark=NEED_WORDS[bench["need"]])


def _raised(mark: int) -> str:
    return str(mark).translate(str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹"))


def _change_table(bench: Mapping[str, Any], check: Mapping[str, Any]) -> Table:
    rows = []
    for measure in check["measures"]:
        change = bench["changes"].get(measure["name"])
        if change is None:
            continue
        rows.append(
            (
                _upper(measure["label"]),
                change["before_shown"],
                bench["measures"][measure["name"]]["shown"],
                _chance(change["probability"]),
            )
        )
    headings = ("Measure", f"On {check['compared_with']}", "Now", "Chance alone does that in")
    return Table(f"{clean_text(bench['bench'])} against its last check", headings, tuple(rows), right=(1, 2))


def _chance(probability: float | None) -> str:
    """Return how often chance alone makes such a change, in words."""
    if probability is None:
        return "–"
    if probability >= 0.1:
        return "more than one in 10"
    size = f"{1.0 / max(probability, 1e-4):,.0f}".replace(",", "\u202f")
    return f"fewer than one in {size}" if probability < 1e-4 else f"one in {size}"


def _tables(check: Mapping[str, Any]) -> list[Block]:
    """Return the measures in tables that fit a sheet held upright: the ranger's, then the cart's and the stop's."""
    labels = {measure["name"]: _upper(measure["label"]) for measure in check["measures"]}
    blocks: list[Block] = []
    groups: tuple[tuple[str, tuple[str, ...]], ...] = (
        ("Ranger", ("noise_still", "noise_moving", "rate", "lost")),
        ("Track and cart", ("friction", "slope_gap", "scale_hint")),
        ("Launcher", ("repeatability", "release_speed")),
        ("Stop", ("impact_speed", "contact_time", "restitution")),
    )
    for caption, wanted in groups:
        # A check stored by an earlier version may not have every measure.
        names = tuple(name for name in wanted if name in labels)
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
        by_reason.setdefault(why, []).append(labels.get(name, name).lower())
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
                to_place(middle, 0.0 if standing["logarithmic"] else standing["u"] * measure["factor"]),
                spread,
                clean_text(farthest["bench"]),
                f"{z:.1f}".replace("-", "−"),
                f"±{standing['limit']:.1f}",
            )
        )
    headings = ("Measure", "Benches", "Median", "Spread", "Farthest bench", "Its z", "Equal benches within")
    return Table(
        "Median and spread of the class, and the bench that lies farthest off", headings, tuple(rows), right=(1, 2, 3, 5, 6)
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
