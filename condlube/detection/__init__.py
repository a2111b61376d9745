"""State detection (ISO 13374 SD): how each trend departs from what is expected."""
