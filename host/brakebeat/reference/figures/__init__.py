"""What a phase of a rep was worth: power, torque, force, brake onset, each with its uncertainty."""
