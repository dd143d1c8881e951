"""The rules of the house, read off the source: imports, units in docstrings, layout."""

import ast
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tuning import step_test
from tuning.oscillation.causes import CAUSES

ROOT = Path(__file__).resolve().parents[1]
SOURCES = sorted([*ROOT.glob("simulator/**/*.py"), *ROOT.glob("tuning/**/*.py"), ROOT / "app.py"])
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "simulator", "tuning", "app.py", "scenarios",
    "tests", "LICENSE",
}  # fmt: skip
# Types whose values carry a unit; [-] marks a plain number.
PHYSICAL = re.compile(r"\b(float|Array|ArrayLike|ComplexArray)\b")
MOST_LINES = 400


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_imports_go_one_way(path):
    inside = path.relative_to(ROOT).parts
    for module in imports(path):
        assert not module.startswith("matplotlib.pyplot"), "figures are Figure objects"
        if inside[0] == "simulator":
            assert module.split(".")[0] != "tuning", "simulator never imports tuning"
        if "screens" not in inside and inside[0] != "app.py":
            assert module.split(".")[0] != "streamlit", "streamlit stays in screens and app.py"
            assert ".screens" not in module


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_nothing_draws_from_the_clock_or_a_global_random_state(path):
    text = path.read_text(encoding="utf-8")
    if path.relative_to(ROOT).parts[0] == "simulator":
        assert not re.search(r"\btime\.(time|perf_counter|monotonic)\(|datetime\.now", text)
    assert not re.search(r"np\.random\.(seed|rand|randn|normal|uniform)\(", text)


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_modules_are_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


def is_physical(annotation: ast.expr) -> bool:
    text = ast.unparse(annotation)
    return bool(PHYSICAL.search(text)) and not text.startswith("Callable")


def documented(docstring: str, section: str) -> dict[str, str]:
    """Entries of a docstring's section: name → text."""
    found = re.search(rf"^ *{section}:\n(.*?)(?=^ *\w+:\n|\Z)", docstring + "\n", re.M | re.S)
    entries: dict[str, str] = {}
    last, indent = "", None
    for line in (found.group(1) if found else "").splitlines():
        entry = re.match(r"( +)(\w+): (.*)", line)
        if entry and (indent is None or len(entry.group(1)) == indent):
            last, indent = entry.group(2), len(entry.group(1))
            entries[last] = entry.group(3)
        elif last:
            entries[last] += " " + line.strip()
    return entries


def public_definitions() -> Iterator[tuple[str, ast.AST]]:
    for path in SOURCES:
        # The kernels document their plain numbers beside each field; screens have no physics.
        if path.name.endswith("kernel.py") or path.name == "app.py" or "screens" in path.parts:
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
                continue
            yield f"{name_of(path)}: {node.name}", node
            for inner in node.body if isinstance(node, ast.ClassDef) else []:
                if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                    yield f"{name_of(path)}: {node.name}.{inner.name}", inner


DEFINITIONS = dict(public_definitions())


@pytest.mark.parametrize("node", DEFINITIONS.values(), ids=DEFINITIONS)
def test_public_things_say_what_they_are_and_give_units(node):
    docstring = ast.get_docstring(node)
    assert docstring, "needs a docstring"
    if isinstance(node, ast.FunctionDef):
        section = "Args"
        arguments = [*node.args.args, *node.args.kwonlyargs]
        # An option of the command carries its own help.
        physical = {
            a.arg
            for a in arguments
            if a.annotation
            and is_physical(a.annotation)
            and "typer." not in ast.unparse(a.annotation)
        }
    else:
        section = "Attributes"
        # A scenario's sections carry unit, limits and meaning in the annotation itself.
        physical = {
            item.target.id
            for item in node.body
            if isinstance(item, ast.AnnAssign)
            and isinstance(item.target, ast.Name)
            and not item.target.id.startswith("_")
            and is_physical(item.annotation)
            and "Quantity(" not in ast.unparse(item.annotation)
        }
    entries = documented(docstring, section)
    for name in sorted(physical):
        assert name in entries, f"{name} is not documented under {section}"
        assert re.search(r"\[[^\]]+\]", entries[name]), f"{name}: {entries[name]} has no [unit]"


def test_top_level_holds_what_was_agreed():
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split("\n")
    if not any(tracked):
        pytest.skip("not a git checkout")
    top = {name.split("/")[0] for name in tracked if name}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_every_comparison_in_a_test_is_asserted():
    for path in ROOT.glob("tests/**/*.py"):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            assert not re.match(r"\s*np\.(isclose|allclose)\(", line), f"{path}:{number}"


def test_the_readmes_python_runs(monkeypatch, tmp_path):
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    first, second, third = re.findall(r"```python\n(.*?)```", readme, re.S)
    names: dict[str, object] = {}
    exec(compile(first, "README.md", "exec"), names)
    assert names["trend"].automatic[-1] == 1.0
    recorded = step_test(names["film"]).trend
    (tmp_path / "step_at_full_roll.csv").write_text(recorded.to_csv(), encoding="utf-8")
    exec(compile(second, "README.md", "exec"), names)
    modulus = names["fit"].parameter("web.modulus")
    assert modulus.low < names["film"].web.modulus < modulus.high
    (tmp_path / "trend.csv").write_text(names["trend"].to_csv(), encoding="utf-8")
    exec(compile(third, "README.md", "exec"), names)
    assert names["answer"].verdict in CAUSES


def test_readme_starts_with_the_job():
    first = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")[1]
    assert "tension" in first and "tun" in first
