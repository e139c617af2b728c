"""The full screen at the car, near and far; it knows only views, panels and keys."""

import os

# The framework reads this once, at import. The richer keyboard protocol is not switched on: its decoder is not used
# here, and an aborted program would leave the terminal in it. Keys that arrive in it anyway are understood.
os.environ.setdefault("TEXTUAL_DISABLE_KITTY_KEY", "1")
