"""What a name or an operator means for which types, in kernels."""

from __future__ import annotations

from functools import cache

from numba import types
from numba.core.typing import Context
from numba.core.typing.templates import _OverloadFunctionTemplate
from numba.extending import intrinsic


def _chosen(symbol):
    """Codegen of the second of two numbers where it compares so with the first, and else the first."""

    def typed(typing, a, b):
        kind = typing.unify_types(a, b)

        def choose(context, builder, signature, args):
            first, second = (
                context.cast(builder, x, of, kind) for x, of in zip(args, signature.args, strict=True)
            )
            is_float = isinstance(kind, types.Float)
            compare = builder.fcmp_ordered if is_float else builder.icmp_signed
            return builder.select(compare(symbol, second, first), second, first)

        return kind(a, b), choose

    return typed


lesser, greater = intrinsic(_chosen("<")), intrinsic(_chosen(">"))


@intrinsic
def whole(typing, number):
    def truncate(context, builder, signature, args):
        return context.cast(builder, args[0], number, types.int64)

    return types.int64(number), truncate


# numba compiles these as whole programs, for each set of flags.
_OURS = {min: lesser, max: greater, int: whole}


class _Typing(Context):
    """What numba knows of types, but for what it would compile; and it remembers what operators make of which.

    For a sum of two numbers alone it asks everything that `+` can mean: strings, lists, arrays.
    """

    __slots__ = ("_found",)

    def __init__(self, context: Context) -> None:
        self.__dict__, self._found = context.__dict__, {}

    def _lookup_global(self, gv):
        return super()._lookup_global(_OURS.get(gv, gv) if callable(gv) else gv)

    def resolve_function_type(self, func, args, kws):
        func = self._lookup_global(func) or func
        if not isinstance(func, types.Function) or kws:
            return super().resolve_function_type(func, args, kws)
        if (func, args) not in self._found:
            kinds = [kind for kind in func.templates if _OverloadFunctionTemplate not in kind.__mro__]
            if not kinds:  # an overload of ours
                return super().resolve_function_type(func, args, kws)
            function = types.Function(kinds)
            signature = self._found[func, args] = function.get_call_type(self, args, kws)
            func._impl_keys[signature.args] = function.get_impl_key(signature)
        return self._found[func, args]


typing_of = cache(_Typing)  # one for all kernels, as numba keeps what it compiles by who asks
