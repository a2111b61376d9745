"""Data acquisition: historian exports become readings and rejects."""
