"""Seeded plant histories with known truth."""
