"""Handbook calculations as worked pages: inputs, factors, formula, result, source, warnings."""
