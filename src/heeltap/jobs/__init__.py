"""What a person can do with heeltap, without a face: score files, make exercises, drill."""

from heeltap.jobs.scoring import score_file

__all__ = ["score_file"]
