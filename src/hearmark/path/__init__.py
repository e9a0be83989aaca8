"""Is there a path to him, when, and which way to point: bearings, sun, ionosphere, circuit, noise."""
