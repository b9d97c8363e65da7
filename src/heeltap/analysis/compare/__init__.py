"""Take against take."""
