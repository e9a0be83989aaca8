"""Room: modes."""
