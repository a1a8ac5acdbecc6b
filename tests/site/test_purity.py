"""The rules know no framework: importing every module of them leaves Django out."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WALK = """
import importlib, pkgutil, sys
package = importlib.import_module({package!r})
names = [module.name for module in pkgutil.walk_packages(package.__path__, package.__name__ + ".")]
for name in names:
    importlib.import_module(name)
apps = [name for name in sys.modules if name.startswith(("contest.", "judging.", "reports."))]
print(len(names), "django" in sys.modules, sorted(name for name in apps if ".rules" not in name))
"""


@pytest.mark.parametrize(("package", "at_least"), [("contest.rules", 5), ("judging.rules", 8), ("reports.rules", 0)])
def test_rules_import_no_django_and_no_app_code(package, at_least):
    done = subprocess.run(
        [sys.executable, "-c", WALK.format(package=package)], cwd=ROOT, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    number, django, others = done.stdout.split(maxsplit=2)
    assert int(number) >= at_least
    assert (django, others.strip()) == ("False", "[]")
