"""The page itself: nothing from outside, nothing unescaped, readable by everyone."""

import re
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brakebeat.report import athlete_report, session_report
from brakebeat.report.markup import document, el
from brakebeat.store import Store
from brakebeat.store.changes import add_note
from tests.report.reading import Page
from tests.report.weeks import FIRST, keep_plan, session, six_weeks
from tests.store.made_up import rep

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</title></style><svg onload=alert(1)>",
    "'&quot;&lt;b&gt; {{7*7}} ${x}",
    "<!-- Ünï ]]> \N{RIGHT-TO-LEFT OVERRIDE}x".replace("\N{RIGHT-TO-LEFT OVERRIDE}", ""),
)


@pytest.fixture(scope="module")
def session_page(trained: Store) -> bytes:
    return session_report(trained, 1)


@pytest.fixture
def both(store: Store, session_page: bytes) -> list[bytes]:
    athlete = six_weeks(store)
    keep_plan(store, athlete)
    return [session_page, athlete_report(store, athlete)]


def test_nothing_from_outside(both: list[bytes]) -> None:
    for content in both:
        page, text = Page(content), content.decode()
        assert not re.search(r"https?:|//[a-z]|@import|javascript:", text)
        assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", text))
        assert page.attributes("src") == page.attributes("srcset") == page.attributes("action") == []
        assert all(target.startswith("#") for target in page.attributes("href"))
        assert not {"script", "link", "img", "iframe", "object", "base", "form"} & {
            tag for tag, _ in page.tags
        }


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_and_notes_are_text(store: Store, text: str) -> None:
    plain = text.replace(":", "")
    identity = session(store, FIRST, [[rep(0), rep(1)]], athlete=plain, exercise=plain)
    add_note(store, "session", identity, text)
    add_note(store, "set", 1, text)
    add_note(store, "athlete", 1, text)
    for content in (session_report(store, identity), athlete_report(store, 1)):
        page = Page(content)
        assert page.text.count(plain) >= 4
        assert not {"script", "img", "b"} & {tag for tag, _ in page.tags}
        assert not [name for _, values in page.tags for name in values if name.startswith("on")]


@given(st.text())
def test_any_text_comes_back_as_it_was(text: str) -> None:
    content = document(el("html", el("body", el("p", text, title=text))))
    page = Page(content)
    shown = re.sub("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]", "\ufffd", text)
    assert page.text.strip("\n") == shown.strip("\n")
    assert page.attributes("title") == [shown]


def test_pictures_have_words_and_ids_are_unique(both: list[bytes]) -> None:
    for content in both:
        page = Page(content)
        ids = page.attributes("id")
        assert len(ids) == len(set(ids))
        pictures = [
            values for tag, values in page.tags if tag == "svg" and values.get("aria-hidden") != "true"
        ]
        assert len(pictures) >= 3
        for values in pictures:
            assert values["role"] == "img"
            assert set((values["aria-labelledby"] or "").split()) <= set(ids)


def test_tables_can_be_read_out_and_scrolled_by_keyboard(both: list[bytes]) -> None:
    for content in both:
        page = Page(content)
        assert page.tables
        for table in page.tables:
            assert table.caption
            assert all(len(row) == len(table.figures) for row in table.rows)
        scroll = [values for tag, values in page.tags if tag == "div" and values.get("class") == "scroll"]
        assert len(scroll) == len(page.tables)
        assert all(values["tabindex"] == "0" and values["aria-label"] for values in scroll)
        assert all(values.get("scope") in ("col", "row") for tag, values in page.tags if tag == "th")


def test_head_suits_phones_and_readers(session_page: bytes) -> None:
    page = Page(session_page)
    assert [values.get("lang") for tag, values in page.tags if tag == "html"] == ["en"]
    assert "width=device-width, initial-scale=1" in page.attributes("content")
    assert sum(tag == "h1" for tag, _ in page.tags) == 1
    assert sum(tag == "main" for tag, _ in page.tags) == 1


def test_caveats_and_cautions_are_there(both: list[bytes]) -> None:
    for content in both:
        text = Page(content).text
        # The finding as published: reliability unacceptable to good (de Keijzer et al. 2022).
        assert "unacceptable to good (de Keijzer et al. 2022, doi 10.3389/fspor.2022.898649)" in text
        assert "decide nothing by them" in text
        assert "Nothing here is medical advice" in text
        assert "can injure" in text


def luminance(colour: str) -> float:
    # Relative luminance as WCAG 2.2 defines it.
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_in_both_colour_schemes() -> None:
    style = files("brakebeat.report").joinpath("style.css").read_text(encoding="utf-8")
    schemes = [
        dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block))
        for block in re.findall(r":root \{(.*?)\}", style, re.S)
    ]
    assert len(schemes) == 2
    for scheme in schemes:
        for ground in ("paper", "card"):
            # WCAG 2.2: text 4.5 (1.4.3), what a picture is understood by 3 (1.4.11).
            for ink in ("ink", "soft"):
                assert contrast(scheme[ink], scheme[ground]) >= 4.5, (ink, ground)
            for line in ("a", "b", "faint", "bar"):
                assert contrast(scheme[line], scheme[ground]) >= 3.0, (line, ground)
        for mark in ("a", "b"):
            assert contrast(scheme[mark], scheme["band"]) >= 3.0
        assert contrast(scheme["soft"], scheme["band"]) >= 4.5
