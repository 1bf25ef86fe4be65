"""Text in, Board out: one file per format, found by content.

A reader never interprets. It pushes strings, numbers and millimetres with a Place for each, skips
what it does not understand with a warning, and stops with file, line and column where going on
would give a wrong board in silence.
"""
