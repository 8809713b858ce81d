"""Curves from raw edges agree with the figures beside them."""

import numpy as np
import pytest

from brakebeat.report import session_report
from brakebeat.report.motion import CourseMaker, Courses, prepare
from brakebeat.store import Store, courses, queries
from brakebeat.store.queries import StoredSet
from tests.report.reading import Page
from tests.report.weeks import FIRST, session
from tests.store.made_up import rep


@pytest.fixture(scope="module")
def drawn(trained: Store) -> tuple[StoredSet, Courses]:
    (each,) = queries.sets(trained, session_id=1)
    return each, CourseMaker(trained).courses(each)


def test_every_rep_has_a_course(drawn: tuple[StoredSet, Courses]) -> None:
    each, seen = drawn
    assert seen.reason is None
    assert sorted(seen.by_number) == [stored.number for stored in each.reps]


def test_courses_are_kept_and_made_anew_where_they_are_of_something_else(trained: Store) -> None:
    (each,) = queries.sets(trained, session_id=1)
    first = courses.kept(trained, each.id)  # The import has kept them.
    assert first is not None
    for change in ("DELETE FROM course", "UPDATE course SET made_of = 'an older version'"):
        with trained.writing():
            trained.write(change)
        assert courses.kept(trained, each.id) is None
        told: list[int] = []
        prepare(trained, [each], told.append)
        prepare(trained, [each], told.append)
        assert told == [1]
        again = courses.kept(trained, each.id)
        assert again is not None
        for number, course in first.items():
            for half in ("concentric", "eccentric"):
                for figure in ("t_s", "angle_rad", "speed_rad_s", "torque_nm", "power_w"):
                    ours = getattr(getattr(again[number], half), figure)
                    theirs = getattr(getattr(course, half), figure)
                    np.testing.assert_allclose(ours, theirs, rtol=1e-6)


def test_damaged_kept_courses_are_made_anew(trained: Store) -> None:
    (each,) = queries.sets(trained, session_id=1)
    with trained.writing():
        trained.write("UPDATE course SET packed = x'00'")
    assert CourseMaker(trained).courses(each).reason is None


def test_courses_meet_at_phi_0_at_the_stored_speed(drawn: tuple[StoredSet, Courses]) -> None:
    each, seen = drawn
    for stored in each.reps:
        course = seen.by_number[stored.number]
        for half, place in ((course.concentric, -1), (course.eccentric, 0)):
            assert half.t_s[place] == 0.0
            assert half.angle_rad[place] == 0.0
            assert half.speed_rad_s[place] == pytest.approx(stored.extension_rad_s, rel=1e-6)


def test_courses_turn_as_far_and_as_fast_as_the_store_says(drawn: tuple[StoredSet, Courses]) -> None:
    each, seen = drawn
    for stored in each.reps:
        con, ecc = seen.by_number[stored.number].concentric, seen.by_number[stored.number].eccentric
        assert -con.angle_rad[0] == pytest.approx(stored.rep.concentric_rad, rel=0.005)
        assert ecc.angle_rad[-1] == pytest.approx(stored.rep.eccentric_rad, rel=0.005)
        assert max(con.speed_rad_s.max(), ecc.speed_rad_s.max()) == pytest.approx(
            stored.rep.peak_rad_s, rel=0.005
        )
        assert np.all(np.diff(con.angle_rad) >= 0)
        assert np.all(np.diff(ecc.angle_rad) >= 0)


def test_drawn_torque_carries_the_stored_energy(drawn: tuple[StoredSet, Courses]) -> None:
    each, seen = drawn
    for stored in each.reps:
        con = seen.by_number[stored.number].concentric
        energy = np.trapezoid(con.torque_nm, con.angle_rad)
        assert energy == pytest.approx(stored.rep.concentric.energy_j, rel=0.03)


def test_a_line_for_each_rep_in_each_picture(trained: Store, drawn: tuple[StoredSet, Courses]) -> None:
    page = Page(session_report(trained, 1))
    lines = [css for css in page.attributes("class") if css.startswith("curve ")]
    # Speed one line a rep, torque and power two; a sample of each kind in three keys.
    assert len(lines) == 5 * 5 + 3 * len(set(lines))
    assert {"curve momentum", "curve plain"} < set(lines)


def test_without_edges_the_page_says_so(store: Store) -> None:
    session(store, FIRST, [[rep(0), rep(1)]])
    page = Page(session_report(store, 1))
    assert "No raw edges were kept" in page.text
    assert "Velocity, aligned" not in page.text


def test_edges_of_something_else_are_a_reason_not_an_error(trained: Store, store: Store) -> None:
    from brakebeat.store.sessions import attach_recording, load_recording

    (theirs,) = queries.sets(trained, session_id=1)
    recording = load_recording(trained, theirs.id)
    assert recording is not None
    # No rep that these edges show lies where either of the two is.
    session(store, FIRST, [[rep(0), rep(400)]])
    (each,) = queries.sets(store)
    attach_recording(store, [each.id], recording)
    assert "do not show rep 1, 2" in Page(session_report(store, 1)).text


def test_curves_can_be_left_out(trained: Store) -> None:
    page = Page(session_report(trained, 1, curves=False))
    assert "Curves were not asked for" in page.text
    assert "Velocity, aligned" not in page.text
    assert len(page.table("Set 1.1, rep by rep").rows) == 6
