"""The background worker as a child of the server: `python -m contest.worker`.

It ends with its parent even if the parent was killed: the parent holds the other end of its standard input.
"""

import os
import signal
import sys
import threading


def _end_with_parent() -> None:
    while os.read(sys.stdin.fileno(), 1024):  # empty once the parent closed the pipe or is gone
        pass
    os.kill(os.getpid(), signal.SIGTERM)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    import django
    from django.core.management import call_command

    django.setup()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    call_command("db_worker", queue_name="*", interval=1, startup_delay=False, verbosity=0)


if __name__ == "__main__":
    main()
