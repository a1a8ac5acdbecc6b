"""Which part may import which: the contracts of pyproject.toml, run as a test."""

import subprocess
import sys
from pathlib import Path

from django.conf import settings


def test_imports_keep_the_contracts() -> None:
    command = Path(sys.executable).parent / "lint-imports"
    answer = subprocess.run([command, "--no-cache"], cwd=settings.BASE_DIR, capture_output=True, text=True)
    assert answer.returncode == 0, answer.stdout
    assert "0 broken" in answer.stdout


def test_the_contracts_would_notice(tmp_path: Path) -> None:
    """The same command on a package that imports upwards ends with an error: the check can fail."""
    for name, text in {"low": "import high\n", "high": "", "lowest": ""}.items():
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text(text)
    (tmp_path / "pyproject.toml").write_text(
        "[tool.importlinter]\nroot_packages = ['low', 'high', 'lowest']\n"
        "[[tool.importlinter.contracts]]\nname = 'down'\ntype = 'layers'\nlayers = ['high', 'low', 'lowest']\n"
    )
    command = Path(sys.executable).parent / "lint-imports"
    answer = subprocess.run([command, "--no-cache"], cwd=tmp_path, capture_output=True, text=True)
    assert answer.returncode == 1
    assert "1 broken" in answer.stdout
