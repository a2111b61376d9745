"""Handbook calculations for grease-lubricated rolling bearings, on NumPy alone."""
