"""Evidence rows to sentences and charts: the only prose about a decision."""
