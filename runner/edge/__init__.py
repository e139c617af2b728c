"""The edge: files, clocks, records. It depends on the core, never the other way."""

VERSION = "0.1.0"
