"""What a report says beside its numbers, the same on every page."""

from __future__ import annotations

RATIO_CAVEAT = (
    "Look at these ratios, but decide nothing by them: their reliability has been found unacceptable to good "
    "(de Keijzer et al. 2022, doi 10.3389/fspor.2022.898649). They also depend on the figure: mean power usually "
    "favours the concentric phase, peak power the eccentric."
)
COUNTED = (
    "Sums and means leave out momentum reps, reps taken out by hand and reps flagged few_edges or gap. "
    "In a table these stand in brackets or carry a note."
)
TREND = (
    "Each value is the mean of a session's sets at one inertia. Typical error is what the figure varies by itself, "
    "from this athlete's own sessions (differences between neighbouring ones ÷ √2), with its 90 % confidence interval; "
    "smallest worthwhile change is 0.3 of it. ICC(3,1) (Shrout and Fleiss 1979) compares how the sessions differ with "
    "how the sets of one do: near 1, a session's sets tell the same; near 0 or below, they differ as much as sessions "
    "do. A change within error says nothing, however welcome it is."
)
CAUTIONS = (
    "A spinning wheel and a taut strap can injure, long after you have let go: guard the wheel, keep hair, sleeves "
    "and fingers clear, let it come to rest before you touch it.",
    "Figures rest on the inertia, the drum radius and the friction in the rig's file: they are as right as those are.",
    "Nothing here is medical advice. If something hurts, or you are injured or new to eccentric training, stop and ask "
    "a professional.",
)
FLAGS_LEAD = "What the notes in the rep tables mean"
