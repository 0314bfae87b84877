"""A digest of code and of all that it calls in this package, comments and docstrings aside.

Names are followed from the source alone: through imports of the package, to functions, classes and
constants of modules. A method is counted with its whole class.
"""

from __future__ import annotations

import ast
import hashlib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent / "src"
PACKAGE = "evenhand"
Item = tuple[str, str]  # module, name


def digest_of(*code: str) -> str:
    """Of "module:name" or "module:Class.method" and what they reach."""
    todo = [_item(one) for one in code]
    seen: dict[Item, str] = {}
    while todo:
        item = todo.pop()
        if item in seen or item[0].partition(".")[0] != PACKAGE:
            continue
        found = _definitions(item[0]).get(item[1])
        if found is None:
            again = _imports(item[0]).get(item[1])  # a name that a module passes on
            if again is not None:
                todo.append(again)
            continue
        seen[item] = ast.unparse(_bare(found))
        todo += _reached(item[0], found)
    text = "\n".join(f"{m}:{n}\n{source}" for (m, n), source in sorted(seen.items()))
    return hashlib.sha256(text.encode()).hexdigest()


def _item(code: str) -> Item:
    module, _, name = code.partition(":")
    name = name.partition(".")[0]
    if name not in _definitions(module):
        raise LookupError(f"{code}: there is no such code")
    return module, name


@cache
def _tree(module: str) -> ast.Module | None:
    path = ROOT / Path(*module.split("."))
    for file in (path.with_suffix(".py"), path / "__init__.py"):
        if file.is_file():
            return ast.parse(file.read_text("utf-8"))
    return None


@cache
def _definitions(module: str) -> dict[str, ast.stmt]:
    tree = _tree(module)
    found: dict[str, ast.stmt] = {}
    for node in ast.walk(tree) if tree is not None else ():
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and node in tree.body:
            found[node.name] = node
        elif isinstance(node, ast.Assign | ast.AnnAssign) and node in tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for target in targets:
                for name in ast.walk(target):
                    if isinstance(name, ast.Name):
                        found[name.id] = node
    return found


@cache
def _imports(module: str) -> dict[str, Item]:
    """Names of a module that stand for others of the package; a module stands for itself."""
    found: dict[str, Item] = {}
    tree = _tree(module)
    for node in ast.walk(tree) if tree is not None else ():
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            for name in node.names:
                whole = f"{node.module}.{name.name}"
                item = (whole, "") if _tree(whole) is not None else (node.module, name.name)
                found[name.asname or name.name] = item
        elif isinstance(node, ast.Import):
            for name in node.names:
                found[name.asname or name.name] = (name.name, "")
    return found


def _reached(module: str, node: ast.AST) -> list[Item]:
    reached: list[Item] = []
    for part in ast.walk(node):
        if isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
            target = _imports(module).get(part.value.id)
            if target is not None and not target[1]:
                reached.append((target[0], part.attr))
        elif isinstance(part, ast.Name):
            target = _imports(module).get(part.id)
            if target is not None and target[1]:
                reached.append(target)
            elif part.id in _definitions(module):
                reached.append((module, part.id))
    return reached


def _bare(node: ast.stmt) -> ast.stmt:
    """A copy without docstrings."""
    copy: ast.stmt = ast.parse(ast.unparse(node)).body[0]
    for part in ast.walk(copy):
        body = getattr(part, "body", None)
        if (
            isinstance(part, ast.FunctionDef | ast.ClassDef)
            and body
            and isinstance(body[0], ast.Expr)
            and isinstance(body[0].value, ast.Constant)
            and isinstance(body[0].value.value, str)
        ):
            part.body = body[1:] or [ast.Pass()]
    return copy
