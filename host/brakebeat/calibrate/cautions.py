"""What to do before a recording is made, with the cautions that go before anything that spins or pulls."""

from __future__ import annotations

_SPIN = (
    "Caution: a spinning wheel takes hair, sleeves, straps and fingers along and throws what is loose. Take the strap "
    "off, or tie it up clear of the drum. Check that magnets and bolts are tight. Stand beside the wheel, never in "
    "its plane; keep others, children above all, away. Spin no faster than a hand can, and let it stop by itself."
)
_FALL = (
    "Caution: a falling mass can crush a foot, and the wheel goes on turning after it has landed. Keep feet, hands and "
    "heads out from under it, lay something soft below, start with a light mass, and stand beside the wheel, never "
    "in its plane. Check strap, knots and anchor first."
)
_PULL = (
    "Caution: a taut strap pulls fingers onto the drum. Pull slowly, by the handle, with the wheel guarded; never let "
    "go of a taut strap, and keep hair and sleeves away from the drum."
)

GUIDES: dict[str, tuple[str, str]] = {
    "magnets": (
        _SPIN,
        "Start recording with the wheel at rest. Spin it by hand in one go, take the hand away, and record until it "
        "stands still: thirty turns or more.",
    ),
    "friction": (_SPIN, "The same recording as for the magnets; the faster the start, the better."),
    "inertia": (
        _FALL + "\n" + _SPIN,
        "Falling mass (one that pulls four times as hard as friction, or more): wind the strap on, hang it on, "
        "weighed, let go from rest, and let it land well before the strap is all out (--left-on-drum) or as it "
        "comes all out and slips off its peg; record until the wheel "
        "stands still. Added inertia: one spin-down as for the magnets, and one with the known part bolted on.",
    ),
    "strap": (
        _PULL,
        "Wind the strap on. Start recording, wait, pull out a measured length slowly and evenly, hold still for three "
        "seconds, pull the next, and so on until the strap is all the way out: eight lengths of some 0.3 m tell radius "
        "and thickness apart. Measure along the strap, taut, to half a millimetre.",
    ),
    "zero": (
        _PULL,
        "Start recording, pull the strap out slowly, all the way, and hold it for three seconds. Go on with the "
        "session in the same recording.",
    ),
}
