"""Which way a branch mostly goes: the compiler puts what is rare apart, and makes little of it."""

from __future__ import annotations

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic


@intrinsic
def rarely(typingctx, condition):
    """The condition, of which is said that it seldom holds."""

    def codegen(context, builder, sig, args):
        (value,) = args
        kind = ir.FunctionType(value.type, [value.type] * 2)
        expect = cgutils.get_or_insert_function(builder.module, kind, f"llvm.expect.i{value.type.width}")
        return builder.call(expect, [value, value.type(0)])

    return types.boolean(types.boolean), codegen
