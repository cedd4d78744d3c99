"""``python -m pilesim`` is the same as ``pilesim``."""

import sys

from pilesim.cli import main

if __name__ == "__main__":
    sys.exit(main())
