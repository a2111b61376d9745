"""Replaying past nights, scoring the calls, proposing a policy."""
