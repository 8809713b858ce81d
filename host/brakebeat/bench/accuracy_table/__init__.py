"""What the accuracy table is made of: recordings, one rep against the truth, worst cases, limits, print."""
