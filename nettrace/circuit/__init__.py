"""What the netlist means: one pass per file, each a pure function from the board to findings.

Each conclusion carries its evidence in words and a score from 0 to 1; unknown is a good answer.
A user's note beats a file's statement, that beats inference. `circuit.py` alone orders the passes.
"""
