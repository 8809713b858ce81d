"""The project's own measuring: how accurate both engines are, against what, and what the board's code costs.

``brakebeat bench`` (``document``, ``parts``) runs what is quick enough to be run at once and keeps the README's table
of costs. Commands of their own, each ``python -m brakebeat.bench.NAME --help``; what one of them is made of lies in a
folder beside it (``accuracy_table``, ``peak_methods`` of ``compare``, ``counting`` of ``cost``, ``soaking``,
``fuzz_targets``), scripts for the VM in ``vm``:

* ``accuracy``: firmware and reference against the simulator's truth, worst cases against limits.
* ``compare``: the same peak speeds by the plain methods and against the Cramér–Rao bound, with a picture.
* ``cost``: instructions, heap, state, code size and integer widths of the firmware.
* ``calibrations``: each calibration against the truth of a simulated rig, and whether its uncertainty is honest.
* ``reference_cost``: edges a second and memory of the reference, by the length of the recording.
* ``soak``: an hour of the whole firmware with everything that may befall a board, counts and heap checked.
* ``fuzz``: what takes bytes from outside, guided by coverage.
* ``profile``: whether an inertia profile's interval holds an athlete's true optimum.
* ``store``: how long the log takes with five years of daily sessions in it.
* ``tutorial``: how the accuracy table comes about, step by step.
* ``latency``: from the end of a rep to its line on the screen, over the virtual link.
"""
