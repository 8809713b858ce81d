"""Files that Brakebeat reads and writes: pulse recordings and rig files."""
