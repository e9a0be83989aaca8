"""Spots, needs, plan and path joined: whom to chase now."""
