"""Keep takes, look back at them."""
