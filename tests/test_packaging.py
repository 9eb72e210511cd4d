"""What a stranger installs: pins that agree with the bounds, layers that hold, a quick start."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _pins(name: str) -> dict[str, Version]:
    lines = (ROOT / ".ci" / name).read_text(encoding="utf-8").splitlines()
    pairs = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {_canonical(key): Version(value) for key, value in pairs}


def _canonical(name: str) -> str:
    """PEP 503: how an index compares names."""
    return re.sub(r"[-_.]+", "-", name).lower()


def _requirements(extra: str | None = None) -> list[Requirement]:
    lines = PROJECT["dependencies"] if extra is None else PROJECT["optional-dependencies"][extra]
    return [Requirement(line) for line in lines]


@pytest.mark.parametrize("requirement", _requirements(), ids=str)
def test_each_dependency_is_tested_at_exactly_its_lower_bound(requirement: Requirement) -> None:
    bounds = [Version(part.version) for part in requirement.specifier if part.operator == ">="]
    assert [_pins("constraints-min.txt")[_canonical(requirement.name)]] == bounds


@pytest.mark.parametrize("extra", [None, "cluster", "test", "dev"])
def test_every_requirement_is_pinned_to_a_version_it_allows(extra: str | None) -> None:
    pins = _pins("constraints.txt")
    wanted = [item for item in _requirements(extra) if item.name != "reefscan"]
    assert wanted or extra == "dev"
    for item in wanted:
        assert pins[_canonical(item.name)] in item.specifier, item


def test_the_typed_marker_is_shipped() -> None:
    # PEP 561: without py.typed a type checker ignores the package's annotations.
    assert (ROOT / "reefscan" / "py.typed").exists()


def test_the_license_is_the_one_declared() -> None:
    # The opening and the permission notice as the Open Source Initiative publishes the MIT licence.
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert text.startswith("MIT License")
    assert "without restriction, including without limitation the rights" in text


def test_every_import_of_the_package_is_a_declared_dependency_and_every_one_declared_is_imported() -> None:
    declared = {_canonical(item.name) for item in [*_requirements(), *_requirements("cluster")]}
    distribution = {"skimage": "scikit-image", "yaml": "pyyaml", "osgeo": "gdal"}
    # Packages that come with a declared one by that one's own design.
    carried = {"click": "typer", "affine": "rasterio", "distributed": "dask"} | dict.fromkeys(
        ("mpl_toolkits", "PIL"), "matplotlib"
    )
    found: dict[str, set[str]] = {}
    for path in sorted((ROOT / "reefscan").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names: list[str] = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                names = [node.module]
            for name in names:
                top = name.split(".")[0]
                if top in sys.stdlib_module_names or top == "reefscan":
                    continue
                top = distribution.get(top, carried.get(top, top))
                found.setdefault(_canonical(top), set()).add(str(path.relative_to(ROOT)))
    assert not {name: files for name, files in found.items() if name not in declared}
    assert not declared - set(found)


@pytest.mark.parametrize("script", ["demo.py", "test.py"])
def test_a_script_started_by_an_old_python_says_what_is_wanted(script: str, tmp_path: Path) -> None:
    # The version check is run as an old Python would run it: same file, other version numbers.
    code = (
        "import sys; sys.version_info = (3, 9, 2, 'final', 0); sys.path.insert(0, {folder!r}); "
        "sys.argv = [{path!r}]; import runpy; runpy.run_path({path!r}, run_name='__main__')"
    )
    path = str(ROOT / "scripts" / script)
    code = code.format(folder=str(ROOT / "scripts"), path=path)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 1
    assert "Python 3.9" in done.stderr
    assert "3.11 or newer" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("script", sorted((ROOT / "scripts").glob("*.py")), ids=lambda path: path.name)
def test_no_script_uses_syntax_that_hides_the_message_from_an_old_python(script: Path) -> None:
    if script.name not in {"bootstrap.py", "demo.py", "test.py"}:
        pytest.skip("run by those who have the environment already")
    ast.parse(script.read_text(encoding="utf-8"), feature_version=(3, 7))


def test_a_python_without_venv_is_told_what_to_install(tmp_path: Path) -> None:
    code = (
        "import sys; sys.path.insert(0, {folder!r}); import importlib.util as u; old = u.find_spec;"
        "u.find_spec = lambda name, *rest: None if name == 'ensurepip' else old(name, *rest);"
        "import bootstrap; from pathlib import Path; bootstrap.ROOT = Path({root!r});"
        "bootstrap.environment('')"
    )
    root = tmp_path / "checkout"
    (root / ".ci").mkdir(parents=True)
    (root / ".ci" / "constraints.txt").write_text("")
    (root / "pyproject.toml").write_text("")
    code = code.format(folder=str(ROOT / "scripts"), root=str(root))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 1
    assert "lacks ensurepip" in done.stderr
    assert not (root / ".venv").exists()
