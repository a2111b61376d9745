"""Thresholds, weights, costs and guard parameters, read from text."""
