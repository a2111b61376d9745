"""The plant's bearings, greases, measuring points and events, read from text."""
