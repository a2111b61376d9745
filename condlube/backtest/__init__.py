"""Replay of past nights, what became of their calls, and what past failures say about the policy."""
