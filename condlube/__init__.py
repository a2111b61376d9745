"""Condition-based relubrication decisions for grease-lubricated rolling bearings."""
