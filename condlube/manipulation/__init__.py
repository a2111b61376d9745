"""Data manipulation (ISO 13374 DM): quality, running state, summaries, expected level."""
