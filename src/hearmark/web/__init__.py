"""Room: web."""
