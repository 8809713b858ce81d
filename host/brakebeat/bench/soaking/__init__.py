"""The whole of the board's program in a time of its own, and what befalls it."""
