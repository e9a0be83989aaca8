"""Room: pileup."""
