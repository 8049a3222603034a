"""One sorted `__all__` a module, equal to what the module defines for others (house style 8)."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from pathlib import Path

import pytest

import joulebook

# The steps of the database are Alembic's to run: it looks up their names, and nobody imports them.
_STEPS = "joulebook.store.migrations."
FOUND = sorted(info.name for info in pkgutil.walk_packages(joulebook.__path__, "joulebook."))
MODULES = ["joulebook", *(name for name in FOUND if not name.startswith(_STEPS))]


def definitions(tree: ast.Module) -> set[str]:
    """Return the public names that a module's top level defines itself: functions, classes, constants and type aliases."""
    names: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign):
            names |= {name.id for target in node.targets for name in ast.walk(target) if isinstance(name, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
    return {name for name in names if not name.startswith("_")}


def spellings(tree: ast.Module) -> set[str]:
    """Return type aliases such as `Floats = NDArray[np.float64]`: spellings, not things, which `__all__` may leave out."""
    aliases = [node for node in tree.body if isinstance(node, ast.Assign) and isinstance(node.value, ast.Subscript | ast.BinOp)]
    names = {target.id for node in aliases for target in node.targets if isinstance(target, ast.Name)}
    return {name for name in names if name[:1].isupper() and not name.isupper()}


def registered(tree: ast.Module) -> set[str]:
    """Return the functions that a thing of the same module takes in, as `@router.get("/")` does; `__all__` may leave them out."""
    own = definitions(tree)
    calls = [
        (node.name, decorator.func)
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        for decorator in node.decorator_list
        if isinstance(decorator, ast.Call)
    ]
    return {
        name
        for name, func in calls
        if isinstance(func, ast.Attribute) and isinstance(func.value, ast.Name) and func.value.id in own
    }


def imports_from_within(tree: ast.Module) -> set[str]:
    """Return the names that a module takes from others of joulebook; it may pass them on."""
    nodes = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("joulebook")]
    return {alias.asname or alias.name for node in nodes for alias in node.names}


def order(name: str) -> tuple[int, str]:
    """Constants, then classes, then functions, each by name: the order that the linter's RUF022 keeps."""
    bare = name.strip("_")
    return (0 if bare.isupper() else 1 if bare[:1].isupper() else 2, name)


@pytest.mark.parametrize("name", MODULES)
def test_all_is_sorted_and_complete(name: str) -> None:
    module = importlib.import_module(name)
    path = Path(str(module.__file__))
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if path.name == "__init__.py" and len(tree.body) == 1:
        return  # a package that only says what it is for
    assert hasattr(module, "__all__"), f"{name} has no __all__"
    listed = list(module.__all__)
    assert len(set(listed)) == len(listed)
    assert listed == sorted(listed, key=order)
    expected = definitions(tree)
    expected |= {item for item in listed if item in imports_from_within(tree) or item == "__version__"}
    expected -= (spellings(tree) | registered(tree)) - set(listed)
    assert set(listed) == expected
    for item in listed:
        getattr(module, item)


def test_the_package_is_walked() -> None:
    """The list above is not empty by accident: it holds a module of every layer."""
    for layer in ["cli", "api", "planning", "readers", "render", "analysis", "experiments", "engine", "uncertainty", "errors"]:
        assert f"joulebook.{layer}" in MODULES


def test_the_lazy_names_are_those_of_the_type_checker() -> None:
    tree = ast.parse(Path(str(joulebook.__file__)).read_text(encoding="utf-8"))
    assert imports_from_within(tree) - {"VERSION"} == set(joulebook._MODULE_OF) == set(joulebook.__all__) - {"__version__"}
    for name, module in joulebook._MODULE_OF.items():
        assert getattr(joulebook, name) is getattr(importlib.import_module(module), name)


def test_dir_and_unknown_names() -> None:
    assert dir(joulebook) == sorted(joulebook.__all__)
    with pytest.raises(AttributeError, match="joulebook has no 'no_such_name'"):
        joulebook.no_such_name  # noqa: B018
