"""The house rules that a program can check: what is named, what is imported, what is explained."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from importlib.metadata import entry_points
from itertools import chain
from pathlib import Path

import pytest

from collector.cli import GROUP

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
VERBS = sorted(entry.name for entry in entry_points(group=GROUP))

#: Modules that would let the world, the clock or chance into the pure core.
IMPURE = {
    "asyncio", "io", "logging", "multiprocessing", "os", "pathlib", "random", "secrets",
    "shutil", "socket", "sqlite3", "subprocess", "tempfile", "threading", "time", "urllib", "uuid",
}  # fmt: skip


def imports(path: Path) -> set[str]:
    """Top-level names of the modules that a file imports, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize("path", sorted((ROOT / "analytics").rglob("*.py")), ids=lambda p: p.stem)
def test_the_core_is_pure(path: Path) -> None:
    assert not imports(path) & IMPURE
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\bnp\.random\b|\bdate(time)?\.(now|utcnow|today)\(|(?<!\.)\bopen\(", text)


def test_analytics_package_imports_nothing() -> None:
    assert imports(ROOT / "analytics" / "__init__.py") == set()


@pytest.mark.parametrize("verb", VERBS)
def test_readme_names_every_verb(verb: str) -> None:
    assert f"`holdwater {verb}" in (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself(verb: str) -> None:
    shown = subprocess.run(
        [sys.executable, "-m", "collector.cli", verb, "--help"], capture_output=True, text=True, timeout=60
    )
    assert shown.returncode == 0, shown.stderr
    assert "usage: holdwater" in shown.stdout


def test_listing_the_verbs_loads_nothing_heavy() -> None:
    program = "import sys\nfrom collector import cli\ncli.verbs(None)\nprint(*sorted(sys.modules))"
    shown = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert shown.returncode == 0, shown.stderr
    assert not {"dash", "plotly", "flask", "amqtt", "pint"} & set(shown.stdout.split())


def test_guide_gives_a_reason_for_every_dependency() -> None:
    extras = PROJECT["optional-dependencies"].values()
    lines = [*PROJECT["dependencies"], *chain.from_iterable(extras)]
    named = {re.split(r"[^\w-]", line, maxsplit=1)[0] for line in lines}
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert not {name for name in named - {"holdwater"} if f"`{name}`" not in guide}


def test_top_level_holds_only_what_it_should() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} == {
        "DEVELOPERS.md", "Makefile", "README.md", "analytics", "collector", "dashboard", "pyproject.toml",
        "requirements.lock", "simulator", "tests",
    }  # fmt: skip
