"""The child process of a season's calculation: `python -m reports.season.child <number of the run>`."""

import os
import sys


def main(number: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    import django

    django.setup()
    from reports.season.work import run

    run(number)


if __name__ == "__main__":
    main(int(sys.argv[1]))
