"""Report, JSON, pictures."""
