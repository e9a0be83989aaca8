"""Room: spectrum."""
