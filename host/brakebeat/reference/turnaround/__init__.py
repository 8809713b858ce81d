"""What happened at each turnaround: readings of the edges around it, weighed against one another."""
