"""Data acquisition (ISO 13374 DA): exports to readings and rejects."""
