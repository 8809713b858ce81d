"""The joint fit: one smooth course of the angle, the magnets' offsets, the scales of the model."""
