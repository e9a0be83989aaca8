"""Room: sources."""
