"""Where this Fairbox is, and where it keeps its data. Read before Django is set up."""

import os
from pathlib import Path

#: The folder that holds the packages: a checkout, or the site-packages of an installation.
BASE_DIR = Path(__file__).resolve().parents[2]


def is_checkout() -> bool:
    """Tell a checkout from an installation: no wheel brings these two files along, and every checkout has both."""
    return all((BASE_DIR / name).is_file() for name in ("manage.py", "pyproject.toml"))


def data_folder() -> Path:
    """Choose the data folder: `FAIRBOX_DATA`, else `.data` in a checkout, else the user's own folder for data.

    An installation's own folder is no place for data: an upgrade or a removed environment would take it along.
    """
    if chosen := os.environ.get("FAIRBOX_DATA"):
        return Path(chosen)
    if is_checkout():
        return BASE_DIR / ".data"
    from platformdirs import user_data_path  # no open command needs it

    return user_data_path("fairbox", appauthor=False)
