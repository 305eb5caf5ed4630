"""How kernels are compiled for a card: all into the one that calls them, with its fast arithmetic."""

from __future__ import annotations

import inspect

from numba import cuda
from numba.core import types
from numba.cuda.extending import intrinsic

_OPTIONS = {"device": True, "fastmath": True}

kernel = cuda.jit(**_OPTIONS, forceinline=True)
inlined_kernel = called_kernel = summing_kernel = kernel
# What must round as it is written says so itself, product by product.
exact_kernel = inlined_exact_kernel = kernel


def outlined_kernel(function):
    """A kernel with one body for all who call it: code that a card has to fetch is time that it waits.

    It is called without the check for an exception that numba has after each call: kernels raise none, and a way out
    in the middle of the loop would keep a warp from coming together again.
    """
    dispatcher = cuda.jit(**_OPTIONS)(function)

    def compiled(arguments):
        result = dispatcher.compile_device(tuple(types.unliteral(kind) for kind in arguments))
        result.library.get_function(result.fndesc.llvm_func_name).attributes.add("noinline")
        return result

    def call(context, builder, signature, values):
        result = compiled(signature.args)
        context.active_code_library.add_linking_library(result.library)
        calls = result.fndesc.call_conv
        return calls.call_internal_no_propagate(builder, result.fndesc, result.signature, values)[1]

    names = ", ".join(inspect.signature(function).parameters)
    scope = {"compiled": compiled, "call": call}
    exec(f"def outlined(typing_context, {names}): return compiled(({names},)).signature, call", scope)
    return intrinsic(scope["outlined"])
