"""A session as it goes on: one model without input or output, and what feeds, keeps and shows it.

``session`` is the model; ``choose`` asks who does what; ``keeper`` puts each rep into the store; ``runner`` feeds both
from the link; ``terminal`` and ``plain`` show it (``brakebeat.page`` does so in a browser).
"""
