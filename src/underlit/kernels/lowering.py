"""Kernels put down for LLVM, as C would be.

They own no memory, raise no exceptions and count indices from the start of an array. numba's own lowering provides for
the rest: each call would look whether there was an exception, each name be cleared at its end, each index be checked
for its sign. That was half of all that LLVM read.
"""

from __future__ import annotations

from llvmlite import ir
from numba import types
from numba.core.callconv import BaseCallConv
from numba.core.cpu import CPUContext
from numba.core.errors import LoweringError
from numba.core.lowering import Lower


class _Plain(BaseCallConv):
    """Values in, a value out: no status."""

    def get_function_type(self, restype, argtypes):
        return ir.FunctionType(
            self.context.get_value_type(restype), map(self.context.get_value_type, argtypes)
        )

    def decorate_function(self, fn, args, fe_argtypes, noalias=False):
        """Nothing."""

    def decode_arguments(self, builder, argtypes, func):
        return func.args

    def return_value(self, builder, value):
        builder.ret(value)

    def return_user_exc(self, builder, *_, **__):
        """End the process, as for a step of 0 in a `range`."""
        stop = ir.FunctionType(ir.VoidType(), ())
        builder.call(builder.module.declare_intrinsic("llvm.trap", (), stop), ())
        builder.unreachable()

    def call_function(self, builder, callee, *_, **__):
        raise LoweringError(f"a kernel calls what numba compiles for itself: {callee.name}")

    def _make_call_helper(self, builder):
        """None."""


class PartTarget(CPUContext):
    """numba's target, with another calling convention."""

    @property
    def call_conv(self):
        return _Plain(self)

    def get_return_value(self, builder, ty, val):
        return val


def call_of(kernel, target, library):
    """What numba asks for to put down a call of a kernel, wherever it stands."""

    def call(_, builder, signature, args):
        return builder.call(target.declare_function(builder.module, kernel), args)

    call.signature, call.libs = kernel.argtypes, (library,)
    return call


class PartLower(Lower):
    """numba's lowering of a function, but for calls, names and elements of arrays."""

    def setup_function(self, fndesc):
        super().setup_function(fndesc)
        if self.library.is_called:
            self.function.attributes.add("noinline")

    def alloca_lltype(self, name, lltype, datamodel=None):
        with self.builder.goto_entry_block():
            return self.builder.alloca(lltype, name=name)

    def storevar(self, value, name, argidx=None):
        self._alloca_var(name, self.typeof(name))
        if name in self._singly_assigned_vars:
            self._blk_local_varmap[name] = value
        else:
            self.builder.store(value, self.getvar(name))

    def delvar(self, name):
        """Nothing."""

    def lower_binop(self, resty, expr, op):
        signature = self.fndesc.calltypes[expr]
        sides = [self._cast_var(*side) for side in zip((expr.lhs, expr.rhs), signature.args, strict=True)]
        result = self.context.get_function(op, signature)(self.builder, sides)
        return self.context.cast(self.builder, result, signature.return_type, resty)

    def lower_getitem(self, resty, expr, value, index, signature):
        if not self._is_element(value, index):
            return super().lower_getitem(resty, expr, value, index, signature)
        kind = self.typeof(value.name).dtype
        item = self.context.unpack_value(self.builder, kind, self._place(value, index))
        return self.context.cast(self.builder, item, kind, resty)

    def lower_setitem(self, target_var, index_var, value_var, signature):
        if not self._is_element(target_var, index_var):
            return super().lower_setitem(target_var, index_var, value_var, signature)
        kind = self.typeof(target_var.name).dtype
        value = self._cast_var(value_var, kind)
        return self.context.pack_value(self.builder, kind, value, self._place(target_var, index_var))

    def _indices(self, index):
        kind = self.typeof(index.name)
        return list(kind) if isinstance(kind, types.BaseTuple) else [kind]

    def _is_element(self, array, index):
        """Whether whole numbers, one for each axis, stand for one element of an array in C order."""
        kind, kinds = self.typeof(array.name), self._indices(index)
        is_c = isinstance(kind, types.Array) and kind.layout == "C" and kind.ndim == len(kinds)
        return is_c and all(isinstance(one, types.Integer) for one in kinds)

    def _place(self, array, index):
        """Address of such an element."""
        model, builder = self.context.data_model_manager[self.typeof(array.name)], self.builder
        kinds, at, array = self._indices(index), self.loadvar(index.name), self.loadvar(array.name)
        data, shape = (
            builder.extract_value(array, model.get_field_position(part)) for part in ("data", "shape")
        )
        is_tuple = isinstance(at.type, ir.Aggregate)
        place = None
        for axis, kind in enumerate(kinds):
            along = builder.extract_value(at, axis) if is_tuple else at
            along = self.context.cast(builder, along, kind, types.int64)
            rows = place and builder.mul(place, builder.extract_value(shape, axis))
            place = builder.add(rows, along) if rows else along
        return builder.gep(data, [place])
