"""Making a section, its rules, its cards, files dropped on it and files of a watched folder; and who may not see any of it."""

from __future__ import annotations

import asyncio
import io
import json
import re
import time
import zipfile
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from tests.classroom.benches import files
from tests.classroom.test_planned_section import BENCH
from tests.web.rooms import TestRoom, browser, open_room, words

from joulebook.store.database import open_store
from joulebook.web import access, section_pages
from joulebook.web.app import create_app
from joulebook.web.settings import Settings
from joulebook.web.tray import tray_of
from joulebook.web.watched_folder import take_in


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    with open_room(tmp_path_factory.mktemp("sections")) as opened:
        yield opened


def _made(room: TestRoom, answer) -> str:  # type: ignore[no-untyped-def]
    assert answer.status_code == 303, words(answer.text)
    return str(answer.headers["location"].rpartition("/")[2])


FORM = {
    "name": "Third period", "benches": "4", "method": "t-prime", "percent_of": "bottom", "tolerance": "4 %",
    "gravity": "9.812 m/s^2",
    "decimal": "comma", "digits": "2", "minutes": "50", "launches": "2", "steps": ["predict", "claim"], "formulas": "1",
}  # fmt: skip


def test_a_section_is_made_by_hand_with_its_house_rules(room: TestRoom) -> None:
    section = room.store.section(_made(room, room.teacher.post("/sections", data=FORM)))
    house = section.house
    assert (section.title, len(section.benches)) == ("Third period", 4)
    assert (house.comparison, house.percent_of, house.tolerance, house.decimal) == ("t-prime", "bottom", 0.04, ",")
    assert (house.uncertainty_digits, house.minutes, house.launches, house.steps) == (2, 50, 2, ("predict", "claim"))
    assert house.gravity is not None
    assert house.gravity.value == 9.812
    assert "Third period" in room.teacher.get("/sections").text


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"name": " "}, "A section needs a title."),
        ({"benches": "many"}, "no number of benches"),
        ({"benches": "61"}, "no number of benches"),
        ({"tolerance": "2"}, "is not between 0 and 1"),
        ({"gravity": "3 m/s^2"}, "3 m/s^2 is not between 9 and 10.5"),
        ({"minutes": "5"}, "no whole number of minutes"),
        ({"launches": "x"}, "no whole number of launches"),
        ({"steps": []}, "must be a list of steps"),
        ({"method": "guess"}, "none of the choices"),
    ],
)
def test_what_was_typed_stays_and_the_field_says_what_is_wrong(room: TestRoom, changed: dict[str, str], told: str) -> None:
    before = len(room.store.sections())
    answer = room.teacher.post("/sections", data={**FORM, **changed})
    assert answer.status_code == 422
    assert told in words(answer.text).replace("&#34;", '"')
    assert 'value="9.812 m/s^2"' in answer.text or "gravity" in changed, "nothing typed is lost"
    assert len(room.store.sections()) == before
    if not {"name", "benches"} & set(changed):
        assert 'aria-invalid="true"' in answer.text or "steps-fault" in answer.text


def test_a_house_file_wins_over_the_fields(room: TestRoom) -> None:
    text = '[comparison]\nmethod = "overlap of intervals"\n[lesson]\nlaunches = 5\n'
    made = _made(room, room.teacher.post("/sections", data={**FORM, "house_text": text}))
    assert room.store.section(made).house.launches == 5
    upload = {"house_file": ("house.toml", text.replace("5", "6").encode())}
    made = _made(room, room.teacher.post("/sections", data=FORM, files=upload))
    assert room.store.section(made).house.launches == 6


@pytest.mark.parametrize(
    ("text", "told"),
    [("[lesson\n", "This is no house file"), ("[lesson]\nlunches = 5\n", "lesson.lunches"), ("#" * 70_000, "more than 64 kB")],
)
def test_a_faulty_house_file_is_told(room: TestRoom, text: str, told: str) -> None:
    answer = room.teacher.post(
        "/sections", data={**FORM, "house_text": "", "name": "x"}, files={"house_file": ("h.toml", text.encode())}
    )
    assert answer.status_code == 422
    assert told in words(answer.text)


def test_a_section_is_made_from_bench_files_a_folder_or_a_zip(room: TestRoom) -> None:
    folder = [("plan", (f"benches/bench-{n}/bench.toml", BENCH)) for n in (1, 2)]
    made = _made(room, room.teacher.post("/sections/from-plan", data={"name": "Planned"}, files=folder))
    section = room.store.section(made)
    assert section.title == "Planned"
    assert [bench.planned["cart.mass"] for bench in section.benches.values()] == ["0.25 kg ± 0.01 kg"] * 2
    assert all(not bench.values for bench in section.benches.values()), "planned is not measured"
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("a/bench-1/bench.toml", BENCH)
    made = _made(room, room.teacher.post("/sections/from-plan", files=[("plan", ("plan.zip", packed.getvalue()))]))
    assert room.store.section(made).title == "A planned section"


def test_a_plan_that_cannot_be_used_makes_no_section(room: TestRoom) -> None:
    before = len(room.store.sections())
    plan = {"format": "joulebook/plan-1", "title": "Big", "benches": []}
    set_up = {"mass_kg": 0.25, "angle_deg": 6.0, "track_length_m": 1.2, "placed": "top"}
    many = json.dumps({**plan, "benches": [{"title": str(n), "set_up": set_up} for n in range(61)]}).encode()
    for content, told in ((b"{}", "no plan of the format"), (many, "at most 60")):
        answer = room.teacher.post("/sections/from-plan", files=[("plan", ("plan.json", content))])
        assert answer.status_code == 422
        assert told in words(answer.text)
    assert len(room.store.sections()) == before


def test_rules_are_changed_and_undone(room: TestRoom) -> None:
    made = _made(room, room.teacher.post("/sections", data=FORM))
    answer = room.teacher.post(f"/sections/{made}/rules", data={**FORM, "launches": "7"})
    assert answer.status_code == 303
    assert room.store.section(made).house.launches == 7
    page = room.teacher.get(answer.headers["location"]).text
    assert "House rules changed" in words(page)
    assert 'name="launches" value="7"' in page
    assert "launches = 7" in page, "as a house file"
    room.teacher.post(f"/sections/{made}/undo", data={"change": "2", "back": "rules"})
    assert room.store.section(made).house.launches == 2
    bad = room.teacher.post(f"/sections/{made}/rules", data={**FORM, "tolerance": "200 %"})
    assert bad.status_code == 422
    assert 'value="200 %"' in bad.text


def test_rules_that_the_form_does_not_show_stay(room: TestRoom) -> None:
    text = '[sheets]\nlocal_rules = ["Bags under the tables."]\n'
    made = _made(room, room.teacher.post("/sections", data={**FORM, "house_text": text}))
    room.teacher.post(f"/sections/{made}/rules", data=FORM)
    assert room.store.section(made).house.local_rules == ("Bags under the tables.",)


def test_cards_hold_number_code_address_and_a_qr_code_of_it(room: TestRoom) -> None:
    html = room.teacher.get(room.path("/bench-cards")).text
    assert html.count('class="bench-card"') == 3
    for number in (1, 2, 3):
        code = room.store.code(room.section, number)
        assert f"{code[:3]} {code[3:]}" in html
    # Nobody's phone can open this machine's own address: such a card says so and has no square.
    assert 'class="qr"' not in html and "QR code of" not in html
    assert "These cards are of use on this machine alone." in words(html) and "joulebook serve --lan" in words(html)
    assert words(html).count("Only on the teacher’s machine") == 3
    assert 'type="button" class="main" data-print hidden' in html and "/static/print.js" in html
    assert room.teacher.get(room.path("/bench-cards?bench=2")).text.count('class="bench-card"') == 1


def test_files_that_wait_stand_first_and_their_names_are_cleaned(tmp_path: Path) -> None:
    # A name that would turn the reading direction, one with a control character, a long one.
    names = ["odd\u202evsc.csv", "bell\x07.csv", "sub/" + "a" * 300 + "-bench.csv"]
    with open_room(tmp_path) as room:
        files = [("files", (name, b"time,distance\n" + b"0,1\n" * (5 + len(name)))) for name in names]
        room.teacher.post(room.path("/drop"), files=files)
        html = room.teacher.get(room.path("/drop")).text
        assert html.index('id="tray-heading"') < html.index('id="add-heading"') and "Add more files" in html
        assert "oddvsc.csv" in html and "bell" in html and not set("\u202e\x07") & set(html)
        waits = re.findall(r'<select name="bench-(\w+)"', html)
        assert len(waits) == html.count('class="file-name"') == 3
        form = {f"bench-{each}": "3" for each in waits} | {f"role-{each}": "launch" for each in waits}
        room.teacher.post(room.path("/drop/add"), data=form)
        odd, bell, long = (each.name for each in room.state(3).records)
        assert (odd, len(long), long[-10:]) == ("oddvsc.csv", 100, "-bench.csv") and "…" in long
        assert "\x07" not in bell
        assert "Add files" in room.teacher.get(room.path("/drop")).text, "nothing waits any more"


def test_in_the_local_network_cards_carry_a_qr_code(tmp_path: Path) -> None:
    with open_room(tmp_path, lan=True, address="http://192.0.2.7:8765") as room:
        html = room.teacher.get(room.path("/bench-cards")).text
        assert html.count('class="qr"') == 3
        for number in (1, 2, 3):
            assert f"QR code of http://192.0.2.7:8765/join/{room.store.code(room.section, number)}" in html
        assert "on this machine alone" not in html and "Only on the teacher" not in html


def test_the_qr_code_reads_back() -> None:
    # ISO/IEC 18004: the finder patterns and the size tell the version; segno's own matrix is what must be drawn.
    import segno

    url = "http://192.0.2.7:8765/join/ACDEFG"
    drawn = section_pages._qr(url)
    matrix = segno.make(url, error="m", micro=False).matrix
    size = len(matrix) + 8
    assert f'viewBox="0 0 {size} {size}"' in drawn
    # The path draws one run of dark modules after the other: "m" moves, "h" draws.
    path = re.search(r' d="(M[^"]*)"[^>]*stroke="#000"|stroke="#000"[^>]* d="(M[^"]*)"', drawn)
    assert path is not None
    total = sum(int(run) for run in re.findall(r"h(\d+)", path[1] or path[2]))
    assert total == sum(sum(row) for row in matrix)


def test_a_new_code_closes_the_old_card(room: TestRoom) -> None:
    before = room.store.code(room.section, 3)
    assert room.teacher.post(room.path("/new-code"), data={"bench": "3"}).status_code == 303
    assert room.store.code(room.section, 3) != before
    assert room.visitor().post("/join", data={"code": before}).status_code == 404


def test_dropped_files_are_assigned_by_name_mended_and_added(room: TestRoom) -> None:
    content, _ = files()
    launch, rest = content["launch-1.csv"], content["rest.csv"]
    upload = [
        ("files", ("period/bench-1/launch-1.csv", launch)), ("files", ("B02_rest.csv", rest)),
        ("files", ("launch-9.csv", launch)), ("files", ("notes.docx", b"x")), ("files", ("bench-1/empty.csv", b"")),
    ]  # fmt: skip
    answer = room.teacher.post(room.path("/drop"), files=upload)
    page = room.teacher.get(answer.headers["location"]).text
    assert "3 files wait" in page
    assert "notes.docx is no record file and was left out." in page
    assert "empty.csv is empty and was left out." in page
    assert "its name does not say which bench" in page
    chosen = dict(re.findall(r'name="(bench-[0-9a-f]+)" aria-label="Bench of ([^"]+)"', page))
    assert room.state(1).records == (), "nothing is added before it was seen"
    by_path = {path: name for name, path in chosen.items()}
    data = {by_path["period/bench-1/launch-1.csv"]: "1", by_path["B02_rest.csv"]: "2", by_path["launch-9.csv"]: ""}
    data |= {name.replace("bench-", "role-"): "rest" if path == "B02_rest.csv" else "launch" for name, path in chosen.items()}
    page = room.teacher.get(room.teacher.post(room.path("/drop/add"), data=data).headers["location"]).text
    assert "2 files were added." in page
    assert "1 file waits" in page
    assert [(held.name, held.role, held.via) for held in room.state(1).records] == [("launch-1.csv", "launch", "drop")]
    assert room.state(2).rest is not None
    # Mended by hand: the one that waits goes to bench 1, which holds the same bytes already.
    name = by_path["launch-9.csv"]
    data = {name: "1", name.replace("bench-", "role-"): "launch"}
    page = room.teacher.get(room.teacher.post(room.path("/drop/add"), data=data).headers["location"]).text
    assert "launch-9.csv holds the same as launch-1.csv" in page
    assert "Nothing was lost" in page
    assert "file waits" not in page


def test_what_cannot_be_added_waits_with_its_reason(room: TestRoom) -> None:
    room.teacher.post(room.path("/drop"), files=[("files", ("x.csv", b"time,distance\n1,2\n"))])
    waiting = tray_of(room.app.state.room).of(room.section)[-1]
    data = {f"bench-{waiting.id}": "77", f"role-{waiting.id}": "launch"}
    page = room.teacher.get(room.teacher.post(room.path("/drop/add"), data=data).headers["location"]).text
    assert "There is no bench 77 in this section." in page
    page = room.teacher.post(room.path("/drop/add"), data={f"bench-{waiting.id}": "leave"})
    assert "x.csv was left out." in room.teacher.get(page.headers["location"]).text


def test_a_tray_has_an_end(room: TestRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("joulebook.web.tray._MOST_FILES", 0)
    answer = room.teacher.post(room.path("/drop"), files=[("files", ("bench-1-late.csv", b"1,2\n"))])
    assert "no more fit" in room.teacher.get(answer.headers["location"]).text


def _until(found: Callable[[], object], seconds: float = 15.0) -> None:
    end = time.monotonic() + seconds
    while not found():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.05)


def test_a_watched_folder_brings_files_and_lists_what_it_cannot_place(tmp_path: Path) -> None:
    content, _ = files()
    folder = tmp_path / "watched"
    (folder / "bench-2").mkdir(parents=True)
    (folder / "bench-2" / "rest.csv").write_bytes(content["rest.csv"])
    with open_room(tmp_path / "data", watch=folder) as room:
        _until(lambda: room.state(2).rest)  # what was there at the start
        (folder / "bench-2" / "launch-1.csv").write_bytes(content["launch-1.csv"])
        (folder / "launch-7.csv").write_bytes(content["launch-2.csv"])
        _until(lambda: room.state(2).launches)
        held = room.state(2).launches[0]
        assert (held.name, held.via, held.role) == ("launch-1.csv", "folder", "launch")
        assert room.state(2).touched_at, "the bench did something"
        _until(lambda: tray_of(room.app.state.room).of(room.section))
        page = room.teacher.get(room.path("/drop")).text
        assert str(folder) in page
        assert "added to bench 2 as a launch record" in page
        assert "launch-7.csv: the name does not say which bench" in page
        assert "from the watched folder" in page


def test_a_file_that_grows_replaces_itself_and_one_written_anew_is_a_further_record(tmp_path: Path) -> None:
    content, _ = files()
    whole, folder = content["launch-1.csv"], tmp_path / "watched"
    folder.mkdir()
    file = folder / "bench-1-launch.csv"
    with open_room(tmp_path / "data") as opened:

        def take(data: bytes) -> str:
            file.write_bytes(data)
            # On the loop that the room runs on, as the watcher does.
            assert opened.teacher.portal is not None
            return opened.teacher.portal.call(_taken, opened, folder, file)

        half = whole[: len(whole) // 2].rpartition(b"\n")[0] + b"\n"
        assert "added to bench 1" in take(half)
        assert take(half) == "", "the same bytes are passed over in silence"
        assert "in place of its earlier state" in take(whole)
        kept = opened.state(1).records
        assert [(held.size, held.discarded) for held in kept] == [(len(half), True), (len(whole), False)]
        assert "saved again with more in it" in kept[0].reason
        assert "a further record of this name" in take(content["launch-2.csv"])
        assert len(opened.state(1).launches) == 2
        assert take(b"") == "", "an empty file is not written yet"


async def _taken(room: TestRoom, folder: Path, file: Path) -> str:
    return await asyncio.wait_for(take_in(room.app.state.room, room.section, folder, file, stable=0.01), 30.0)


def test_a_link_out_of_the_watched_folder_is_not_followed(tmp_path: Path) -> None:
    secret, folder = tmp_path / "bench-1-secret.csv", tmp_path / "watched"
    folder.mkdir()
    secret.write_bytes(files()[0]["rest.csv"])
    (folder / "bench-1-launch.csv").symlink_to(secret)
    with open_room(tmp_path / "data") as room:
        assert room.teacher.portal is not None
        assert room.teacher.portal.call(_taken, room, folder, folder / "bench-1-launch.csv") == ""
        assert room.state(1).records == ()


def _teacher_routes(app: FastAPI) -> list[APIRoute]:
    """Return every route of the application that is the teacher's by its path, whoever wrote it."""
    found: list[APIRoute] = []

    def walk(routes: Iterable[object]) -> None:
        for each in routes:
            if isinstance(each, APIRoute):
                if re.match(r"/(api/)?(sections|store|passphrase)", each.path):
                    found.append(each)
            else:
                walk(getattr(getattr(each, "original_router", None), "routes", ()))

    walk(app.routes)
    return found


def test_every_page_of_the_teacher_is_closed_to_everybody_else(room: TestRoom) -> None:
    routes = _teacher_routes(room.app)
    paths = {route.path for route in routes}
    assert {
        "/sections",
        "/sections/{section}",
        "/sections/{section}/benches/{bench}",
        "/sections/{section}/log",
        "/store",
    } <= paths
    assert len(routes) > 20
    bench, stranger = room.bench(1), room.visitor()
    before = room.store.section(room.section)
    for route in routes:
        for method in sorted(route.methods or ()):
            path = route.path.replace("{section}", room.section).replace("{bench}", "1")
            for client, who in ((stranger, "a stranger"), (bench, "a bench")):
                answer = client.request(method, path)
                refused = answer.status_code in (401, 403) or (
                    method == "GET" and answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")
                )
                assert refused, f"{method} {path} is open to {who}: {answer.status_code}"
    assert room.store.section(room.section) == before


def test_the_walk_would_find_an_open_page(tmp_path: Path) -> None:
    # A page whose only argument is the room that everybody may ask is caught by the walk above: it answers 200 to a stranger.
    with open_store(folder=tmp_path) as store:
        app = create_app(store, Settings(judges=1))

        @app.get("/open")
        async def open_page(room: access.AskedRoom) -> str:
            return room.store.place

        with browser(app) as client:
            assert client.get("/open").status_code == 200
            assert client.get("/sections").status_code == 303


def test_a_form_of_another_site_changes_nothing(room: TestRoom) -> None:
    answer = room.teacher.post(room.path("/do"), data={"kind": "bell-rung"}, headers={"Origin": "https://evil.example"})
    assert answer.status_code == 403
    assert not room.store.section(room.section).closed


def test_a_file_that_no_event_tells_of_is_found_by_listing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a shared drive, or between the first look and the first event."""
    import watchfiles

    async def silent(*_: object, stop_event: asyncio.Event, **__: object) -> AsyncIterator[set[tuple[object, str]]]:
        while not stop_event.is_set():
            await asyncio.sleep(0.05)
            yield set()

    monkeypatch.setattr(watchfiles, "awatch", silent)
    content, _ = files()
    folder = tmp_path / "watched"
    (folder / "bench-2").mkdir(parents=True)
    with open_room(tmp_path / "data", watch=folder) as room:
        (folder / "bench-2" / "rest.csv").write_bytes(content["rest.csv"])
        _until(lambda: room.state(2).rest)
        (folder / "bench-2" / "launch-1.csv").write_bytes(content["launch-1.csv"])
        _until(lambda: room.state(2).launches)
        assert len(room.state(2).records) == 2
