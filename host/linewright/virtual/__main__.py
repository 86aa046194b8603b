"""``python -m linewright.virtual``: see `linewright.virtual.process`."""

import sys

from linewright.virtual.process import main

if __name__ == "__main__":
    sys.exit(main())
