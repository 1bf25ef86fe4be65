"""Numbers: what a meter must show, and the formulas a technician asks for. No drawing, no files."""
