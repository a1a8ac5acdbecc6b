#!/usr/bin/env python3
"""Runs Fairbox's commands in a checkout."""

import sys

from contest.commandline import main

if __name__ == "__main__":
    sys.exit(main())
