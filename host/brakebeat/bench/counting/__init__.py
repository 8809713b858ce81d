"""What the firmware costs, counted: instructions, heap, bytes of code, width of integers."""
