"""Health assessment (ISO 13374 HA): prior, evidence, posterior."""
