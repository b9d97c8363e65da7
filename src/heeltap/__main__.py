"""``python -m heeltap``."""

import sys

from heeltap.cli import main

if __name__ == "__main__":
    sys.exit(main())
