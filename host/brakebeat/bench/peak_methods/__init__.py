"""Every way to a peak speed, on the same recordings: plain ones, both engines, and the bound below them."""
