"""The right frequency pair: announcements, plans, privileges, repeaters, satellites."""
