"""The HTML page: complete, accessible, self-contained and safe with hostile words."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from tests.render.contrast import contrast
from tests.render.sample_audit import sample_audit, sample_stopped

from joulebook.engine.report import Audit
from joulebook.render.contents import compose
from joulebook.render.drawing import NARROW, PALETTE
from joulebook.render.numbers import input_text, interval_text, value_and_u
from joulebook.render.page import write_page
from joulebook.render.pictures import draw_pictures
from joulebook.render.words import CAUTIONS, CAUTIONS_LABEL, ORIGIN_WORDS, SEVERITY_WORDS, input_words, quantity_words
from joulebook.uncertainty import Input, Quantity

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Page(HTMLParser):
    """What a page holds, as a flat list of elements and its visible text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str], tuple[str, ...]]] = []
        self.text: list[tuple[tuple[str, ...], str]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {key: value or "" for key, value in attrs}, tuple(self.open)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {key: value or "" for key, value in attrs}, tuple(self.open)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-1:]}"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.text.append((tuple(self.open), data))

    def all(self, *tags: str) -> list[dict[str, str]]:
        return [attributes for tag, attributes, _ in self.elements if tag in tags]

    def words(self, *, outside: tuple[str, ...] = ("style", "svg", "title")) -> str:
        shown = "".join(data for path, data in self.text if not set(outside) & set(path))
        return re.sub(r"\s+", " ", shown.replace("\u00a0", " "))


@pytest.fixture(scope="module")
def audit() -> Audit:
    return sample_audit()


@pytest.fixture(scope="module")
def source(audit: Audit) -> str:
    return write_page(audit)


@pytest.fixture(scope="module")
def page(source: str) -> Page:
    return Page(source)


# ---- what it says


def test_the_verdict_comes_first_and_the_method_last(source: str, page: Page, audit: Audit) -> None:
    headings = [attributes["id"] for tag, attributes, _ in page.elements if tag == "h2"]
    assert headings == [
        f"{name}-heading"
        for name in (
            "verdict", "findings", "trace", "joules", "ledger", "slope", "velocity", "budget", "launches", "inputs", "records",
            "method", "cautions",
        )
    ]  # fmt: skip
    assert audit.verdict.sentence in page.words()
    assert source.index("<h2") < source.index(audit.verdict.sentence[:14]) < source.index("<svg")


def test_every_quantity_is_shown_with_uncertainty_and_interval(page: Page, audit: Audit) -> None:
    words = page.words()
    for name, item in audit.quantities.items():
        for quantity in (item,) if isinstance(item, Quantity) else item:
            label = quantity_words(name).label
            assert label[:1].upper() + label[1:] in words
            value, u = value_and_u(name, quantity)
            assert value in words and u in words and interval_text(name, quantity) in words, name


def test_every_finding_is_shown_worst_first(page: Page, audit: Audit) -> None:
    words = page.words()
    for finding in audit.findings:
        severity = SEVERITY_WORDS[finding.severity]
        assert finding.message in words and finding.remedy in words
        assert f"{severity.mark} {severity.word} {finding.code}" in words
    order = [attributes["class"] for tag, attributes, path in page.elements if tag == "li" and attributes.get("class")]
    assert order == ["stop", "look", "note", "note"]


def test_inputs_say_where_they_come_from(page: Page, audit: Audit) -> None:
    words = page.words()
    for item in audit.inputs:
        label = input_words(item.name).label
        assert (
            f"{label[:1].upper()}{label[1:]}{input_text(item)}{item.distribution}{ORIGIN_WORDS[item.origin]}{item.note}" in words
        )


def test_records_say_how_they_were_read(page: Page, audit: Audit) -> None:
    words = page.words()
    for record in audit.records:
        assert record.read_as in words
        assert f"{record.file}{record.samples}{record.rate_Hz:g}{record.used}{record.missing}{record.rejected}" in words
        for notice in record.notices:
            assert notice in words


def test_the_slope_from_motion_stands_beside_the_stated_one(page: Page) -> None:
    words = page.words()
    assert (
        "The stated slope is 9.80(14)°. The motion shows a slope of 9.800(62)° (interval 9.678 to 9.922°). The two agree."
        in words
    )
    assert "cross-check only" in words


def test_a_slope_from_rise_and_length_is_worked_out(audit: Audit) -> None:
    # sin θ = 17.1/100: θ = 9.846°; u(θ) = 0.171·√((.06/17.1)² + (.06/100)²)/cos θ = 0.035° (GUM 5.1.2).
    kept = tuple(item for item in audit.inputs if item.name != "track.angle")
    rise, along = Input("track.rise", 0.171, "m", 0.0006), Input("track.along", 1.0, "m", 0.0006)
    words = Page(write_page(replace(audit, inputs=(*kept, rise, along)))).words()
    assert "The stated slope is 9.846(35)°, from a rise of 0.17100(60) m along 1.00000(60) m." in words
    # (9.800 − 9.8460)/√(0.062² + 0.0354²) = −0.644
    assert "It is 0.046° flatter than stated, 0.64 times the standard uncertainty of that difference." in words


def test_the_tallest_velocity_sample_is_told_and_not_used(page: Page, audit: Audit) -> None:
    words = page.words()
    assert "would have been 0.968 m/s, 8.7 % below the fitted release speed of 1.0607(46) m/s" in words
    assert "0.1177 J of kinetic energy, 17 % below" in words
    without = Page(write_page(replace(audit, facts={}))).words()
    assert "tallest" not in without


def test_each_launch_has_its_row_and_its_trace(page: Page, source: str, audit: Audit) -> None:
    for launch in audit.launches:
        assert f"Trace of {launch.file}" in source
        value = launch.quantities["release_speed"]
        assert isinstance(value, Quantity) and f"{launch.file}{value.value:.4f}(" in page.words()


def test_the_cautions_are_there_under_their_label(page: Page) -> None:
    for text in (CAUTIONS_LABEL, *CAUTIONS):
        assert text in page.words()


def test_an_audit_without_a_ledger_has_a_page_too() -> None:
    stopped = sample_stopped()
    page = Page(write_page(stopped))
    words = page.words()
    assert stopped.verdict.sentence in words and stopped.findings[0].message in words
    assert "The ledger: energy" not in words
    assert not page.all("svg")
    assert "nan" not in words.lower().split() and "inf" not in words.lower().split()


def test_numbers_keep_their_units_on_the_line(source: str) -> None:
    assert "0.1414\u00a0J" in source


# ---- that everybody can read it


def test_language_title_and_landmarks(page: Page) -> None:
    assert page.all("html")[0]["lang"] == "en"
    # The pictures have titles of their own.
    tags = [tag for tag, _, path in page.elements if "svg" not in path]
    assert all(tags.count(tag) == 1 for tag in ("header", "main", "aside", "footer", "h1", "title"))
    assert [path for tag, _, path in page.elements if tag == "main"] == [("html", "body")]


def test_headings_never_skip_a_level(page: Page) -> None:
    levels = [int(tag[1]) for tag, _, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_ids_are_unique_and_every_reference_resolves(page: Page) -> None:
    ids = [attributes["id"] for _, attributes, _ in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes, _ in page.elements:
        for key in ("aria-labelledby", "aria-describedby"):
            assert set(attributes.get(key, "").split()) <= set(ids)
        if attributes.get("href", "").startswith("#"):
            assert attributes["href"][1:] in ids


def test_the_first_link_skips_to_the_verdict(page: Page) -> None:
    link = page.all("a")[0]
    assert link == {"class": "skip", "href": "#verdict"}
    target = next(attributes for _, attributes, _ in page.elements if attributes.get("id") == "verdict")
    assert target["tabindex"] == "-1"


def test_tables_have_captions_and_scopes(page: Page) -> None:
    tables = len(page.all("table"))
    assert tables == len(page.all("caption")) >= 10
    for tag, attributes, path in page.elements:
        if tag == "th":
            assert attributes["scope"] == ("col" if "thead" in path else "row")
        if tag == "td":
            # Shown before each cell where a phone has no room for a head row.
            assert attributes["data-heading"]
    rows = sum(1 for tag, _, path in page.elements if tag == "tr" and "tbody" in path)
    assert sum(1 for tag, _, path in page.elements if tag == "th" and "tbody" in path) == rows


def test_every_picture_has_a_caption_and_a_table(page: Page, audit: Audit) -> None:
    drawn = draw_pictures(audit)
    pictures = [drawn.trace, drawn.residuals, drawn.joules, drawn.budget, *(picture for _, picture in drawn.launches)]
    words = page.words()
    for picture in pictures:
        assert picture is not None and picture.sentence in words
        assert f"{picture.title}, as a table" in words
    assert len(page.all("details")) == len(page.all("figure")) == len(pictures)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_contrast_in_both_themes(source: str, theme: str) -> None:
    blocks = re.findall(r":root\{(.*?)\}", source)
    assert len(blocks) == 2
    colours = dict(re.findall(r"--([a-z]+):(#[0-9a-f]{6})", blocks[0 if theme == "light" else 1]))
    assert set(colours) == {"ink", "muted", "paper", "panel", "rule", "link", "stop", "look", "note"}
    for name in ("ink", "muted", "link", "stop", "look", "note"):
        for ground in ("paper", "panel"):
            assert contrast(colours[name], colours[ground]) >= 4.5, (name, ground)  # WCAG 2.2, SC 1.4.3
    assert contrast(colours["rule"], colours["paper"]) >= 3.0  # WCAG 2.2, SC 1.4.11
    assert PALETTE["paper"] == PALETTE["paper"].__class__(colours["paper"], PALETTE["paper"].dark) or theme == "dark"


def test_every_picture_colour_has_its_dark_rule(source: str) -> None:
    for ink in PALETTE.values():
        for attribute in ("fill", "stroke"):
            assert f'.picture [{attribute}="{ink.light}"]{{{attribute}:{ink.dark}}}' in source


# ---- that it is safe and stands alone


def test_the_policy_allows_the_one_style_block_and_nothing_else(source: str, page: Page) -> None:
    policy = next(item["content"] for item in page.all("meta") if item.get("http-equiv") == "Content-Security-Policy")
    styles = re.findall(r"<style>(.*?)</style>", source, re.S)
    assert len(styles) == 1
    digest = base64.b64encode(hashlib.sha256(styles[0].encode()).digest()).decode()
    assert policy.split("; ") == ["default-src 'none'", f"style-src 'sha256-{digest}'", "base-uri 'none'", "form-action 'none'"]
    assert "@import" not in styles[0] and "url(" not in styles[0]


def test_nothing_is_loaded_and_nothing_runs(source: str, page: Page) -> None:
    assert not page.all("script", "link", "img", "iframe", "object", "embed", "base", "form", "image", "use")
    for _, attributes, _ in page.elements:
        assert "style" not in attributes and "src" not in attributes
        assert not any(key.startswith("on") for key in attributes)
        assert attributes.get("href", "#").startswith("#")
    assert set(re.findall(r"[a-z]+://[^\s\"'<]+", source)) == {"http://www.w3.org/2000/svg"}


def test_hostile_words_are_only_words(audit: Audit) -> None:
    hostile = "</title><script>alert(1)</script> \u202e{{ 7*7 }} & \"'"
    finding = replace(audit.findings[0], message=hostile, remedy=hostile)
    record = replace(audit.records[0], file=hostile, read_as=hostile, notices=(hostile,))
    item = replace(audit.inputs[0], note=hostile)
    launch = replace(audit.launches[0], file=hostile)
    worse = replace(
        audit, title=hostile, findings=(finding,), records=(record,), inputs=(item,), launches=(launch,),
        verdict=replace(audit.verdict, sentence=hostile),
    )  # fmt: skip
    source = write_page(worse)
    assert "<script" not in source
    assert "\u202e" not in source
    page = Page(source)
    assert not page.all("script")
    assert "</title><script>alert(1)</script> {{ 7*7 }} & \"'" in page.words()


def test_the_same_audit_gives_the_same_page(audit: Audit, source: str) -> None:
    assert write_page(sample_audit(), pictures=draw_pictures(audit)) == source


@pytest.mark.page
def test_a_browser_shows_it_without_complaint(source: str, tmp_path: Path) -> None:
    """Reflow at 320 px (WCAG 2.2, SC 1.4.10), no blocked style, no request but the file itself."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    assert browser is not None, "Chromium is missing: Debian's package chromium, or `make chromium` as root"
    from playwright import sync_api as sync

    file = tmp_path / "page.html"
    file.write_text(source, encoding="utf-8")
    with sync.sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=browser, args=["--no-sandbox", "--disable-gpu"])
        for width, shown, hidden in ((320, ".narrow", ".wide"), (1000, ".wide", ".narrow")):
            tab = chromium.new_page(viewport={"width": width, "height": 700})
            complaints: list[str] = []
            requests: list[str] = []
            tab.on("console", lambda message, to=complaints: to.append(message.text))
            tab.on("request", lambda request, to=requests: to.append(request.url))
            tab.goto(file.as_uri())
            assert tab.evaluate("document.documentElement.scrollWidth") <= width
            assert tab.locator(f"#trace {shown}").first.is_visible()
            assert not tab.locator(f"#trace {hidden}").first.is_visible()
            assert complaints == [] and requests == [file.as_uri()]
            tab.close()
        chromium.close()


def test_the_ledger_explains_its_intervals_and_has_no_letters_of_its_own() -> None:
    """No column of ν or Method: a note below the tables says how the intervals came about."""
    contents = compose(sample_audit())
    assert contents.ledger is not None and contents.motion is not None
    for table in (contents.ledger, contents.motion):
        assert len(table.headings) == 4 and all(len(row) == 4 for row in table.rows)
        assert not {"ν", "Method"} & set(table.headings)
    assert contents.motion.note.startswith("Intervals of both tables by linear propagation (GUM); for ")
    assert "by Monte Carlo (GUM Supplement 1)" in contents.motion.note
    assert "effective degrees of freedom" in contents.motion.note
    page = write_page(sample_audit())
    assert "ν" not in page.partition("<body>")[2]
    assert f'<p class="below">{contents.motion.note[:40]}' in page.replace("\xa0", " ")


def test_a_phone_gets_letters_that_can_be_read_and_a_compact_ledger() -> None:
    """The narrow drawings have letters of 13 in 330 pixels, and the two ledger tables stack to two lines a quantity."""
    assert 390 / NARROW.width * NARROW.font >= 13
    page = write_page(sample_audit())
    assert page.count('class="scroll quantities"') == 2
    narrow = page.split("@media (max-width:40rem){")[1].split("@media screen")[0]
    assert ".wide{display:none}" in narrow and ".quantities tbody tr{display:grid" in narrow
    for svg in re.findall(r'<div class="narrow">(.*?)</div>', page, re.DOTALL):
        assert 'font-size="13"' in svg
