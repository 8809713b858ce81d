"""The whole chain on a simulated rig: pulses, firmware, radio, host, check, picture."""
