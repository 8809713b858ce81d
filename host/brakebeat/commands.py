"""The commands of ``brakebeat`` by name. Each is the module of that name in ``brakebeat.cli.commands``."""

# name -> what the help says of it
COMMANDS = {
    "demo": "the whole chain on a simulated rig, from pulses to a picture",
    "replay": "run the board's firmware over a pulse recording",
    "analyse": "run the reference over a pulse recording",
    "check": "compare firmware and reference over recordings, with a verdict",
    "simulate": "write the recording of an invented athlete on an invented rig",
    "bench": "measure what everything costs: firmware, reference, many recordings, start, store",
    "samples": "list the recordings that come with the package, or copy them out",
    "log": "what was trained: list, show, note, edit, delete, undo, recompute",
    "import": "take recordings, fetched reps or an earlier export into the log",
    "export": "write the log as CSV, Parquet or JSON",
    "plan": "lay out a training block around competitions, as text and as a calendar file",
    "profile": "what an athlete does at several inertias, and which one suits the goal",
    "coach": "a session hands-free in big letters: sets, reps, rest, brake, drop-off",
    "serve": "a coached session as a local web page, for a phone or a screen on the wall",
    "report": "a session or an athlete's weeks as one HTML file that needs no network",
    "scan": "list the boards in reach, by radio and on USB cables",
    "watch": "follow boards and show each rep as it comes, in a live table",
    "fetch": "get the reps that were pulled while no computer was near",
    "record": "record a board's raw edges into a pulse recording",
    "calibrate": "magnets, friction, inertia, strap and zero from recordings made for the purpose",
    "board": "put the firmware onto a board; see whether its sensor and magnets are sound",
    "rig": "make a rig file, or show what one gives",
    "vcd": "a logic analyser's Value Change Dump to a pulse recording, and back",
    "set": "put a rig file, or another brake window, onto the board",
}
