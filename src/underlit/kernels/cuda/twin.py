"""Kernels read again from their source, in single precision.

numba types a literal as double precision, and one such literal makes all that it touches so, at a small part of a
card's speed. Here each float literal becomes a `numpy.float32`, `numpy.float64` and `float` mean that type too, and
infinity is a number that no length in a scene reaches, as a card's fast arithmetic knows none.
"""

from __future__ import annotations

import ast
import builtins
import importlib.util
import math
import types

import numpy as np

_ROOT = "underlit.kernels"
_OWN = ("jit", "bands", "bvh", "real", "state")  # taken from this package
_READ_AGAIN = ("underlit.kernels.", "underlit.constants")
FAR = np.float32(1e30)


class _Single(ast.NodeTransformer):
    """Single precision for every literal and conversion."""

    def visit_Constant(self, node):
        if not isinstance(node.value, float):
            return node
        return _at(ast.Call(ast.Name("_single", ast.Load()), [node], []), node)

    def visit_BinOp(self, node):
        value = _constant(node)
        if value is not None:
            return self.visit_Constant(_at(ast.Constant(value), node))
        return self.generic_visit(node)

    def visit_Attribute(self, node):
        if ast.unparse(node) in ("math.inf", "math.pi", "np.float64"):
            name = {"math.inf": "_far", "math.pi": "_pi", "np.float64": "_single"}[ast.unparse(node)]
            return _at(ast.Name(name, node.ctx), node)
        return self.generic_visit(node)

    def visit_Call(self, node):
        if isinstance(node.func, ast.Name) and node.func.id == "float":
            node.func.id = "_single"
        return self.generic_visit(node)

    def visit_AnnAssign(self, node):
        return node  # fields of tuples: their types are those of the values


def _at(new, old):
    return ast.fix_missing_locations(ast.copy_location(new, old))


def _constant(node) -> float | None:
    """Value of arithmetic between float literals, worked out in double precision."""
    if not all(
        isinstance(n, (ast.BinOp, ast.UnaryOp, ast.Constant, ast.operator, ast.unaryop))
        for n in ast.walk(node)
    ):
        return None
    value = eval(compile(ast.Expression(node), "literal", "eval"), {})
    return value if isinstance(value, float) else None


class Twins:
    """Modules of `underlit.kernels` in single precision, each read when it is first asked for."""

    def __init__(self, features: dict[str, bool], sizes: dict[str, int]) -> None:
        self._modules: dict[str, types.ModuleType] = {}
        self._set = {f"{_ROOT}.features": features, f"{_ROOT}.cuda.sizes": sizes}

    def module(self, name: str) -> types.ModuleType:
        """The twin of a module, `name` as in "track" or "cuda.loop"."""
        return self._twin(f"{_ROOT}.{name}")

    def _twin(self, name: str) -> types.ModuleType:
        short = name.removeprefix(_ROOT + ".")
        source = f"{_ROOT}.cuda.{short}" if short in _OWN else name
        if source not in self._modules:
            self._modules[source] = self._read(source)
        return self._modules[source]

    def _read(self, name: str) -> types.ModuleType:
        spec = importlib.util.find_spec(name)
        assert spec is not None and spec.origin is not None
        with open(spec.origin, encoding="utf-8") as file:
            tree = _Single().visit(ast.parse(file.read(), spec.origin))
        for statement in tree.body:
            if isinstance(statement, ast.Assign) and ast.unparse(statement.targets[0]) in self._set.get(
                name, {}
            ):
                statement.value = ast.Constant(self._set[name][ast.unparse(statement.targets[0])])
        ast.fix_missing_locations(tree)
        module = types.ModuleType(name)
        module.__file__ = spec.origin
        module.__dict__.update(
            _single=np.float32,
            _far=FAR,
            _pi=np.float32(math.pi),
            __builtins__={**vars(builtins), "__import__": self._import},
        )
        exec(compile(tree, spec.origin, "exec"), module.__dict__)
        return module

    def _import(self, name, globals_=None, locals_=None, fromlist=(), level=0):
        if fromlist and name.startswith(_READ_AGAIN):
            return self._twin(name)
        return builtins.__import__(name, globals_, locals_, fromlist, level)


def single(value):
    """A scene's arrays and numbers in single precision."""
    if isinstance(value, tuple):
        return type(value)(*(single(item) for item in value))
    if isinstance(value, np.ndarray) and value.dtype == np.float64:
        return value.astype(np.float32)
    return np.float32(value) if isinstance(value, float) else value
