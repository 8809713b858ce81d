"""What is done with the events of followed boards: a table that lives, plain lines, JSON lines, edges on tape.

``board_view`` keeps what is known of one board; ``table``, ``plain`` and ``json_lines`` show it; ``tape`` gathers raw
edges; ``live_check`` runs the reference on them while the set goes on.
"""
