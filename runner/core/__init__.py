"""The pure part: no file, no clock, no screen."""
