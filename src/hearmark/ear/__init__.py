"""Room: ear."""
