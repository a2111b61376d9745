"""Every column once: name, type, unit, meaning."""
