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
_OWN = ("jit", "bands", "bvh", "draws", "real", "words")  # taken from this package
_READ_AGAIN = ("underlit.kernels.", "underlit.constants")
FAR = np.float32(1e30)


class _Single(ast.NodeTransformer):
    """Single precision for every literal and conversion; in kernels, indices without a sign.

    A card has no 64-bit integers of its own either: with `short`, those that kernels name, set or return have 32 bits.
    """

    def __init__(self, short: bool = False) -> None:
        self._short, self._in_kernel = short, False

    def visit_FunctionDef(self, node):
        outside = self._in_kernel
        self._in_kernel = any(ast.unparse(name).endswith("kernel") for name in node.decorator_list)
        node = self.generic_visit(node)
        self._in_kernel = outside
        return node

    def visit_Subscript(self, node):
        node = self.generic_visit(node)
        if self._in_kernel:
            parts = node.slice.elts if isinstance(node.slice, ast.Tuple) else [node.slice]
            parts = [part if _is_integer(part) else _call("_place", part) for part in parts]
            node.slice = ast.Tuple(parts, ast.Load()) if len(parts) > 1 else parts[0]
            ast.fix_missing_locations(node)
        return node

    def _shortened(self, node):
        """An expression whose value is an integer literal, or a choice or tuple of such."""
        if isinstance(node, ast.Tuple):
            node.elts = [self._shortened(part) for part in node.elts]
        elif isinstance(node, ast.IfExp):
            node.body, node.orelse = self._shortened(node.body), self._shortened(node.orelse)
        elif _is_integer(node):
            return _at(_call("_short", node), node)
        return node

    def visit_Assign(self, node):
        node = self.generic_visit(node)
        if self._short and self._in_kernel:
            node.value = self._shortened(node.value)
        return node

    def visit_Return(self, node):
        node = self.generic_visit(node)
        if self._short and self._in_kernel and node.value is not None:
            node.value = self._shortened(node.value)
        return node

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
        if self._short and ast.unparse(node) == "np.int64":
            return _at(ast.Name("_short", node.ctx), node)
        return self.generic_visit(node)

    def visit_Call(self, node):
        if isinstance(node.func, ast.Name) and node.func.id == "float":
            node.func.id = "_single"
        return self.generic_visit(node)

    def visit_AnnAssign(self, node):
        return node  # fields of tuples: their types are those of the values


def _at(new, old):
    return ast.fix_missing_locations(ast.copy_location(new, old))


def _call(name, argument):
    return ast.Call(ast.Name(name, ast.Load()), [argument], [])


def _is_integer(node) -> bool:
    """Whether an expression is an integer literal, with or without a sign."""
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        node = node.operand
    return isinstance(node, ast.Constant) and type(node.value) is int


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
            short = not name.startswith(f"{_ROOT}.cuda.")
            tree = _Single(short).visit(ast.parse(file.read(), spec.origin))
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
            _short=np.int32,
            _place=np.uint32,
            __builtins__={**vars(builtins), "__import__": self._import},
        )
        exec(compile(tree, spec.origin, "exec"), module.__dict__)
        if short:
            for key, value in module.__dict__.items():
                if type(value) is int or isinstance(value, np.int64):
                    module.__dict__[key] = np.int32(value)
        return module

    def _import(self, name, globals_=None, locals_=None, fromlist=(), level=0):
        if fromlist and name.startswith(_READ_AGAIN):
            return self._twin(name)
        return builtins.__import__(name, globals_, locals_, fromlist, level)


def single(value):
    """A scene's arrays and numbers in single precision, and its integers in 32 bits."""
    if isinstance(value, tuple):
        return type(value)(*(single(item) for item in value))
    if isinstance(value, np.ndarray):
        kind = {np.dtype(np.float64): np.float32, np.dtype(np.int64): np.int32}.get(value.dtype)
        return value if kind is None else value.astype(kind)
    if isinstance(value, (bool, np.bool_)):
        return value
    return np.float32(value) if isinstance(value, float) else np.int32(value)
