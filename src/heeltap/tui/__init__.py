"""The screens that heeltap draws in your terminal."""
