"""The one place that holds the version, and that of the layout of a board's JSON."""

__version__ = "0.1.0"
#: A reader refuses a higher one.
BOARD_SCHEMA = 1
