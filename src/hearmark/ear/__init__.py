"""Where the DX listens next, and what to do about it."""
