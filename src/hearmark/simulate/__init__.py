"""Room: simulate."""
