"""Where the bundled program begins: the same as ``python -m app``, with care for worker processes."""

import multiprocessing
import sys

from app.__main__ import main

if __name__ == "__main__":
    # first of all: a worker process starts this file again and must do its work instead of opening a window
    multiprocessing.freeze_support()
    sys.exit(main())
