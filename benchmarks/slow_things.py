"""What was done about each slow command and page: written by hand, shown beside the measurements in docs/performance.md.

A test demands a text for each of the ten slowest of either kind that the stored results name.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["DONE"]

_IMPORTS = "Its module, and packages for reports, tables and odd units, are imported only when something needs them; NumPy and SciPy remain"
_CONNECTIONS = (
    "A section is read from the store once for each bench, at the same time: the store now keeps as many connections open as that takes, "
    "where it opened and closed most of them for every page"
)
_MARKING = "As the marking page: every write-up is checked anew"

DONE: Mapping[str, str] = MappingProxyType(
    {
        # Commands.
        "audit": f"{_IMPORTS}.",
        "runs": "Reading needs NumPy alone, so SciPy is not imported at all. The units' registry is loaded only for a unit off the list.",
        "sweep": f"{_IMPORTS}; it is paid for once for all benches. The table is printed when all are there, the lines of --jsonl as "
        "they come.",
        "plan": f"{_IMPORTS}. 2,160 set-ups are predicted in one array calculation, without simulating any.",
        "sheet": f"{_IMPORTS}; the page's templates come on top. Typst is loaded for --pdf alone.",
        "demo": "It simulates and audits six benches and writes their reports, so it is slow by what it does. A filter from SciPy's "
        "signal package was replaced by a loop of ours: its import alone took longer than the simulation.",
        "check": f"{_IMPORTS}; then every bench of the section is audited before the first word can be said.",
        "rehearse": "Six benches are simulated, written and audited, so that the answers are right. A filter from SciPy's signal package "
        "was replaced by a loop of ours: its import alone took longer than the simulation.",
        "serve": "The server's packages are loaded after the options have been read; the audits run in processes of their own, which "
        "start while the first page is asked for. A store whose tables are up to date is opened without what brings them there. Left: the "
        "database and server packages themselves.",
        "class": f"{_IMPORTS}; then every bench is audited before anything can be said of the section.",
        "mark": f"{_IMPORTS}; then the benches are audited, each once however many write-ups it has. 150 write-ups take less than "
        "the imports.",
        "store": "The database packages are loaded for this command and for the room alone, and a store whose tables are up to date is "
        "opened without what brings them there; the small use here opens one that was made before. Left: what a section is rests on the "
        "words for benches, which bring SciPy with them though listing needs none.",
        "findings": "Its texts stand with the experiment that makes them, and so SciPy is imported to print them. Nothing was done: it is "
        "asked rarely.",
        "version": "Nothing needs to be done: it imports click and nothing else of size.",
        # Pages.
        "/bench": "Audits run in processes of their own and are kept; a page that is only looked at waits at most 0.4 s for one and "
        "then shows what is known, and the rest arrives by itself.",
        "/bench/trace": "The picture alone is sent when a stretch is chosen, not the page; the samples are read from the store each time.",
        "/": "Nothing of the room is looked up for it: it is the form for a code.",
        "/join/{code}": "Only a code is looked up; wrong ones are counted, not delayed.",
        "/sign-in": "A passphrase is hashed slowly on purpose when it is sent; the form itself looks up one setting.",
        "/store": "A list and some sizes; nothing needed to be done.",
        "/store/backup": "Every change and every file is read and packed in one pass. It is asked for once a day; nothing was done.",
        "/sections/{section}": (
            "Judgements are kept in memory; while the period runs only the cards are fetched anew, and only after news. "
            f"{_CONNECTIONS}."
        ),
        "/sections/{section}/cards": (
            "It is the part of the board that changes, fetched alone after news. "
            f"{_CONNECTIONS}."
        ),
        "/sections/{section}/log": "All changes of the period on one page; nothing was done.",
        "/sections/{section}/drop": "A form; files are read in processes of their own when they come.",
        "/sections/{section}/bench-cards": "The codes are drawn as vectors in the page itself, so that it prints without asking again.",
        "/sections/{section}/benches/{bench}": "The judgement is kept; only the pictures and the words are made when it is asked for.",
        "/sections/{section}/class": (
            "The benches' audits are kept. The section's picture is worked out anew at each visit, away from the loop "
            "that serves the benches. Placing the names beside the points, so that none hides another, takes half as "
            "long as it did, since what lies out of reach of a name is no longer weighed."
        ),
        "/sections/{section}/projector": "As the class page: the audits are kept, the picture and the places of its letters are worked "
        "out anew, away from the loop that serves the benches.",
        "/sections/{section}/class.pdf": "As the class page, and Typst sets it; its fonts are loaded once for a server. A tagged PDF "
        "that screen readers can follow is worth the rest.",
        "/sections/{section}/package": "Audits that are kept are not made again; those of benches without one are. The rest is hashing and "
        "packing the records. It is asked for once a lesson; nothing more was done.",
        "/sections/{section}/workbook": "Audits that are kept are not made again. The workbook is written row by row; it is asked for "
        "once a lesson, and nothing more was done.",
        "/sections/{section}/marking": (
            "The benches' audits are kept and not made again, and write-ups that are alike are looked for only when that "
            "is asked. The write-ups are checked anew at every visit, so that no page is out of date; what a bench's "
            "record shows, which was nine tenths of that, is now worked out once for all of its write-ups."
        ),
        "/sections/{section}/marking/criterion/{criterion}": f"{_MARKING}.",
        "/sections/{section}/marking/student/{code}": f"{_MARKING}.",
        "/sections/{section}/marking/gradebook.csv": f"{_MARKING}.",
        "/sections/{section}/marking/gradebook.xlsx": f"{_MARKING}.",
        "/sections/{section}/marking/feedback.zip": f"{_MARKING}. Typst sets a sheet for each student, all in one go.",
        "/sections/{section}/marking/next-lesson": f"{_MARKING}.",
        "/sections/{section}/marking/next-lesson.pdf": f"{_MARKING}. Typst sets it; its fonts are loaded once for a server.",
        "/sections/{section}/marking/template.xlsx": "The package that writes workbooks is loaded at the first one, which is what the "
        "first time shows.",
        "/api/sections/{section}/board": "As the board's cards, without their words.",
    }
)
"""What was done, by command or by route."""
