"""No expected energy, ratio or correct value reaches a student's browser before the teacher opens the ledger (DESIGN §8).

Every byte that a bench is sent (pages, parts, JSON, events, refusals) is searched for every quantity of the audit, written with three
or more significant digits in SI units, in percent and in thousandths. What the bench itself sent in is left out of the search: the
numbers that were typed, the raw samples, and the strokes of the drawing, which is made from the record alone.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
from starlette.testclient import TestClient
from tests.classroom.benches import files
from tests.web.rooms import TestRoom, fill, open_room

from joulebook.classroom.changes import Draft
from joulebook.classroom.judging import Judgement
from joulebook.engine.report import Audit
from joulebook.render.words import ACCOUNT_WORDS, MECHANICAL_WORDS
from joulebook.uncertainty import Quantity
from joulebook.web.event_streams import _lines

_TYPED = {
    "predict": {"prediction": "less", "prediction_why": "It rolls."},
    "readings": {"start_distance": "1.9", "release_speed": "2", "release_speed_u": "0.1"},
    "calculation": {"travel": "3", "height": "2", "kinetic_energy": "5", "potential_energy": "4"},
    "uncertainty": {"kinetic_energy_u": "1", "potential_energy_u": "1", "largest": "slope"},
    "claim": {"claim": "undecided", "claim_why": "They overlap."},
    "comparison": {"own_comparison": "0.2", "comparison_says": "Fits."},
    "losses": {"loss_where": "rolling", "loss_size": "1", "loss_why": "It slows."},
    "improve": {"improve": "A longer track."},
}
_SAMPLES = re.compile(r'<div class="scroll samples".*?</table>|"(?:time_s|distance_m)": ?\[[^]]*\]|<path[^>]*>', re.DOTALL)
_PLACES = re.compile(
    r'\s(?:x|y|x1|x2|y1|y2|d|dy|width|height|viewBox|transform|font-size|stroke-width|data-(?:width|height|left|right|top|foot))="[^"]*"'
)
_NUMBER = re.compile(r"(?<![\w.])\d+[.,]\d+(?:e[+-]?\d+)?|(?<![\w.,])\d{3,}(?![\w.])")


def _secrets(audit: Audit) -> dict[str, float]:
    """Return every number of an audit that students are to find themselves, by what it is."""
    found = {}
    for place, quantities in [("bench", audit.quantities), *((each.file, each.quantities) for each in audit.launches)]:
        for name, item in quantities.items():
            for index, each in enumerate((item,) if isinstance(item, Quantity) else item):
                for what in ("value", "low", "high"):
                    found[f"{place} {name} {index} {what}"] = abs(getattr(each, what))
    return {name: value for name, value in found.items() if value > 1e-6}


def _stretches(content: dict[str, bytes]) -> set[str]:
    """Return the times that were asked for, and those at which the records begin and end, as pages write them."""
    times = [1.1, 1.5, 2.2, 2.5]
    for data in content.values():
        rows = data.decode().splitlines()[1:]
        times += [float(rows[0].split(",")[0]), float(rows[-1].split(",")[0])]
    return {f"{time:.{digits}f}" for time in times for digits in (1, 2, 3)}


def _leaks(text: str, secrets: dict[str, float], typed: set[str]) -> list[str]:
    """Return what a text gives away. typed: numbers that the bench wrote itself."""
    searched = _PLACES.sub(" ", _SAMPLES.sub(" ", text)).replace("−", "-")
    found = []
    for token in set(_NUMBER.findall(searched)) - typed:
        digits = len(re.sub(r"e.*|[.,]", "", token).lstrip("0"))
        if digits < 3:
            continue
        shown = float(token.replace(",", "."))
        for name, value in secrets.items():
            if any(f"{shown:.{digits - 1}e}" == f"{value * factor:.{digits - 1}e}" for factor in (1.0, 100.0, 1000.0)):
                found.append(f"{token} is {name}")
    return found


def _period(room: TestRoom, client: TestClient, number: int) -> str:
    """Let a bench do everything that it can, and return every byte that it is sent."""
    sent: list[str] = []

    def take(answer: object) -> None:
        # How many bytes an answer has is not what it says.
        headers = {name: value for name, value in answer.headers.items() if name != "content-length"}  # type: ignore[attr-defined]
        sent.append(repr(headers) + answer.text)  # type: ignore[attr-defined]

    def get(path: str) -> None:
        take(client.get(path))

    def post(path: str, data: dict[str, str]) -> None:
        answer = client.post(path, data=data)
        take(answer)
        if answer.status_code == 303:
            get(answer.headers["location"])

    get("/")
    get("/bench/trace")
    records = [record.id for record in room.state(number).records]
    for record in records[-2:]:
        get(f"/bench?record={record}&at=1.5&at2=2.5")
        get(f"/bench/trace?record={record}")
        get(f"/bench/trace?record={record}&from=1.1&to=2.2")
        get(f"/api/bench/records/{record}")
    get("/api/bench")
    get("/api/openapi.json")
    post("/bench/hint", {})
    post("/bench/hint", {})
    post("/bench/commit", {})
    post("/bench/do", {"kind": "help-asked"})
    post("/bench/do", {"kind": "record-discarded", "record": records[-1]})
    post("/bench/do", {"kind": "record-restored", "record": records[-1]})
    post("/bench/do", {"kind": "nothing"})
    take(client.post("/bench/records", files=[("launch", ("same.csv", files()[0]["launch-1.csv"])), ("launch", ("no.csv", b"no"))]))
    post("/bench/do", {"kind": "record-discarded", "record": f"r{room.state(number).seq}"})
    for step, fields in _TYPED.items():
        if step == "comparison":
            post("/bench/commit", {})
        post("/bench/work", {"step": step, "base": "0", **fields})
        post("/bench/work", {"step": step, "base": "0", **{name: "" for name in fields}})
    for path in ("/api/bench/changes", "/api/bench/records"):
        take(client.post(path, json={"kind": "override-set", "body": {}}))
    for path in ("", f"/benches/{number}", "/log"):
        get(f"/sections/{room.section}{path}")
    for path in (f"/api/sections/{room.section}/benches/{number}", f"/api/sections/{room.section}"):
        get(path)
    get("/api/bench")
    get("/bench")
    sent.append(_events(room, number))
    return "\n".join(sent)


def _events(room: TestRoom, number: int) -> str:
    """Return what comes over a bench's line while it is changed and judged."""

    async def listen() -> str:
        async def gone() -> bool:
            return False

        opened = _lines(SimpleNamespace(is_disconnected=gone), room.app.state.room, room.section, only=number)  # type: ignore[arg-type]
        told = [await anext(opened)]
        waiting = anext(opened)
        import asyncio

        task = asyncio.ensure_future(waiting)
        await asyncio.sleep(0)
        record = room.state(number).records[0].id
        await room.app.state.room.append(room.section, Draft("record-discarded", "teacher", number, {"record": record}))
        told.append(await task)
        await room.app.state.room.append(room.section, Draft("record-restored", "teacher", number, {"record": record}))
        while "judged" not in told[-1]:
            told.append(await anext(opened))
        return "".join(told)

    return room.teacher.portal.call(listen)  # type: ignore[union-attr]


def _judged(room: TestRoom, number: int) -> Judgement:
    found: Callable[[], object] = lambda: room.app.state.room.judgement(room.section, number)  # noqa: E731
    judged = room.teacher.portal.call(found)  # type: ignore[union-attr]
    assert isinstance(judged, Judgement)
    return judged


@pytest.mark.parametrize("fault", ["", "too-close"])
def test_nothing_of_the_audit_reaches_a_bench_before_its_ledger_is_opened(tmp_path: Path, fault: str) -> None:
    with open_room(tmp_path, benches=1) as room:
        fill(room, 1, fault)
        readings = files(fault)[1]
        client = room.bench(1)
        judged = _judged(room, 1)
        assert judged.audit is not None
        secrets = _secrets(judged.audit)
        typed = {number for text in readings.values() for number in _NUMBER.findall(text)} | _stretches(files(fault)[0])
        before = _period(room, client, 1)
        assert _leaks(before, secrets, typed) == []
        assert judged.audit.verdict.sentence not in before or not judged.audit.verdict.sentence
        for words in (*MECHANICAL_WORDS.values(), *ACCOUNT_WORDS.values()):
            assert words not in before
        for finding in judged.findings:
            assert finding.message not in before
            assert not re.search(rf"\b{finding.code}\b", before), finding.code
        assert "event: judged" in before and '"ledger": null' in before.replace('"ledger":null', '"ledger": null')
        # The search finds what it looks for once the teacher has opened the ledger: in the page and in the JSON.
        room.store.append(room.section, Draft("ledger-opened", "teacher", 1))
        page, json = client.get("/bench").text, client.get("/api/bench").text
        if judged.ledger is None:
            return
        if not math.isfinite(judged.ledger.verdict.resolution):
            # Every launch is stopped: no number of it is shown, opened or not.
            assert [_leaks(text, secrets, typed) for text in (page, json)] == [[], []]
            return
        for text in (page, json):
            told = " ".join(_leaks(text, secrets, typed))
            for name in ("kinetic_energy", "potential_energy", "release_speed", "travel"):
                assert name in told, name
        assert "The ledger of your bench" in page


def test_the_search_sees_a_single_number_and_passes_over_what_was_typed() -> None:
    secrets = {"energy": 0.49723}
    assert _leaks("<p>KE 0.497 J</p>", secrets, set()) == ["0.497 is energy"]
    assert _leaks("<p>49.7 % or 497 mJ</p>", secrets, set()) != []
    assert _leaks("<p>0.49723</p>", secrets, set()) == ["0.49723 is energy"]
    assert _leaks("<p>0.50 and 0.498</p>", secrets, set()) == []
    assert _leaks("<p>0.497</p>", secrets, {"0.497"}) == []


def test_while_readings_are_missing_nothing_of_the_stand_ins_is_told(tmp_path: Path) -> None:
    with open_room(tmp_path, benches=1) as room:
        fill(room, 1, values=False)
        client = room.bench(1)
        judged = _judged(room, 1)
        assert judged.stood_in and judged.audit is not None
        room.store.append(room.section, Draft("ledger-opened", "teacher", 1))
        text = client.get("/bench").text + client.get("/api/bench").text
        assert _leaks(text, _secrets(judged.audit), set()) == []
        assert "give no ledger yet" in text


def test_a_bench_sees_nothing_of_another(tmp_path: Path) -> None:
    with open_room(tmp_path, benches=2) as room:
        fill(room, 1)
        room.store.append(room.section, Draft("bench-named", "bench", 1, {"name": "Otters"}))
        other = room.bench(2)
        record = room.state(1).records[0].id
        sent = other.get(f"/bench?record={record}").text + other.get(f"/bench/trace?record={record}").text
        answer = other.get(f"/api/bench/records/{record}")
        assert answer.status_code == 404
        assert "Otters" not in sent and "launch-1.csv" not in sent
        assert other.post("/bench/do", data={"kind": "record-discarded", "record": record}).status_code == 422
        assert other.post("/bench/undo", data={"change": str(room.state(1).seq)}).status_code == 422
        assert not any(each.discarded for each in room.state(1).records)
