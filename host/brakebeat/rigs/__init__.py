"""A rig file made by questions, and what a rig file gives."""
