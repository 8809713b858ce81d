"""From reps to training: statistics of an athlete's own data, inertia profiles, training blocks.

Nothing in here is medical advice, and none of it replaces a coach's eye.
"""
