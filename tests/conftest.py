"""Random examples are the same in every run, so that a failure comes of a change; a long run draws new ones."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "witnessmark",
    deadline=None,  # no test is timed: the machine may be busy
    suppress_health_check=[HealthCheck.too_slow],
    derandomize="WITNESSMARK_LONG" not in os.environ,
)
settings.load_profile("witnessmark")
