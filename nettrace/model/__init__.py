"""What the sources say, and where they say it.

Board, Part, Pin, Pad and Net are frozen; a reader fills a BoardBuilder, which checks, orders and
freezes. Nothing here interprets: no rails, no ohms, no roles (see `nettrace.circuit`).
"""
