"""What every test shares: the property tests draw the same examples each time, and no test sees a person's own settings."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "joulebook", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("joulebook")
