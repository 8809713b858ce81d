"""Ten weeks of two invented athletes on the barn wheel, as a store that the other commands can be tried on."""
