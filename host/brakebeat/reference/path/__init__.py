"""Which edges are real and where the wheel turned: the best path through a recording's edges."""
