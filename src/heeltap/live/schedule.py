"""What the engine sends: `Schedule` and `merge`, kept in `heeltap.ports.schedule` because sounds are made without the
engine."""

from heeltap.ports.schedule import Schedule, merge

__all__ = ["Schedule", "merge"]
