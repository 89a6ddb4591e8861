"""Imports run one way, and a wrong one is noticed."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.store.logs import SERVER

ROOT = Path(__file__).parents[2]


def lint_imports(folder):
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()", "--no-cache"]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, env={"PYTHONPATH": str(folder)})


@pytest.fixture
def copied(tmp_path):
    shutil.copytree(ROOT / "prepcheck", tmp_path / "prepcheck", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_hold():
    done = lint_imports(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


def test_an_import_against_the_order_breaks_a_contract(copied):
    with (copied / "prepcheck/photo/photo.py").open("a") as file:
        file.write("\nimport prepcheck.score\n")
    done = lint_imports(copied)
    assert done.returncode != 0
    assert "imports go one way" in done.stdout


def test_a_store_import_in_the_pipeline_breaks_a_contract(copied):
    with (copied / "prepcheck/score/score.py").open("a") as file:
        file.write("\nimport sqlalchemy\n")
    done = lint_imports(copied)
    assert done.returncode != 0
    assert "the pipeline stays light" in done.stdout


def test_help_loads_nothing_heavy():
    heavy = "cv2, numpy, sqlalchemy, skimage, PIL, pydantic, rich"
    code = (
        "import sys\nfrom typer.testing import CliRunner\nfrom prepcheck.cli import app\n"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0\n"
        f"print([m for m in {heavy.split(', ')!r} if m in sys.modules])"
    )
    # without what makes a child process of a test keep its logs on a server: that alone loads the database
    own = {name: text for name, text in os.environ.items() if name != SERVER}
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True, env=own)
    loaded = done.stdout.strip()
    assert all(f"'{name}'" not in loaded for name in ("cv2", "numpy", "sqlalchemy", "skimage")), loaded
