"""Commands by room, one module each; `hearmark.cli` joins them."""
