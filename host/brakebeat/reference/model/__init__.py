"""What a wheel and its sensor are taken to do: a smooth angle, edges of a known spread, faults of a known rate."""
