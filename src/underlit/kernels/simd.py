"""Vectors of eight float32 or int32 inside kernels, as generic LLVM vectors.

numba has no vector type, and LLVM does not find the vectors in a tree traversal by itself. The
operations here are plain LLVM IR without any target's own instructions, so each target lowers them to
what it has: registers of 256 bits, or pairs of 128. They exist in compiled code only. The arithmetic
operators and comparisons work between two vectors of one type; nothing is fused into multiply-add but
`fma`.
"""

from __future__ import annotations

import operator
from functools import partial

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic, lower_builtin, models, register_model, type_callable

LANES = 8
INT32, INT64 = ir.IntType(32), ir.IntType(64)

# Sorts eight lanes: in each round the lanes of a pair are put in order (Batcher's odd-even merge sort; K. E.
# Batcher, "Sorting networks and their applications", AFIPS Spring Joint Computer Conference 1968).
NETWORK = (
    ((0, 1), (2, 3), (4, 5), (6, 7)),
    ((0, 2), (1, 3), (4, 6), (5, 7)),
    ((1, 2), (5, 6)),
    ((0, 4), (1, 5), (2, 6), (3, 7)),
    ((2, 4), (3, 5)),
    ((1, 2), (3, 4), (5, 6)),
)


class Vector(types.Type):
    """numba's type of a vector whose lanes are `dtype`: float32, int32, or boolean for a mask."""

    def __init__(self, dtype, lanes=LANES):
        self.dtype, self.lanes = dtype, lanes
        super().__init__(name=f"{dtype}x{lanes}")


@register_model(Vector)
class VectorModel(models.PrimitiveModel):
    def __init__(self, manager, fe_type):
        lane = (
            ir.IntType(1)
            if fe_type.dtype == types.boolean
            else manager.lookup(fe_type.dtype).get_value_type()
        )
        super().__init__(manager, fe_type, ir.VectorType(lane, fe_type.lanes))


float32x8, int32x8, mask8 = Vector(types.float32), Vector(types.int32), Vector(types.boolean)
float32x16 = Vector(types.float32, 16)


def _vector(values):
    return ir.Constant(ir.VectorType(INT32, LANES), list(values))


def _compare(builder, a, b, symbol):
    is_float = isinstance(a.type.element, ir.FloatType)
    return (builder.fcmp_ordered if is_float else builder.icmp_signed)(symbol, a, b)


def _broadcast(builder, x, lanes=LANES):
    undefined = ir.Constant(ir.VectorType(x.type, lanes), ir.Undefined)
    first_lane = builder.insert_element(undefined, x, INT32(0))
    return builder.shuffle_vector(
        first_lane, undefined, ir.Constant(ir.VectorType(INT32, lanes), [0] * lanes)
    )


def _operator(op, kinds, lower, result=None):
    """Teach numba `op` between two vectors of one of `kinds`; it gives `result`, or the same kind."""

    @type_callable(op)
    def type_op(context):
        return lambda a, b: (result or a) if a in kinds and a == b else None

    @lower_builtin(op, Vector, Vector)
    def lower_op(context, builder, sig, args):
        return lower(builder, *args)


for _op, _name in (("add", "fadd"), ("sub", "fsub"), ("mul", "fmul"), ("truediv", "fdiv")):
    _operator(getattr(operator, _op), (float32x8, float32x16), getattr(ir.IRBuilder, _name))
for _op in ("and_", "or_"):
    _operator(getattr(operator, _op), (int32x8, mask8), getattr(ir.IRBuilder, _op))
for _op, _symbol in (("lt", "<"), ("le", "<="), ("eq", "=="), ("ne", "!=")):
    _operator(getattr(operator, _op), (float32x8, int32x8), partial(_compare, symbol=_symbol), mask8)


def _address(context, builder, array_type, array, i, pointee):
    """Pointer to `pointee` at element `i` of the flat data of an array."""
    data = context.make_array(array_type)(context, builder, array).data
    return builder.bitcast(builder.gep(data, [i]), pointee.as_pointer())


def _loader(result):
    @intrinsic
    def load(typingctx, array, i):
        """What lies at element `i` of the flat float32 array; bits are taken as they are."""

        def codegen(context, builder, sig, args):
            pointee = context.get_value_type(result)
            return builder.load(
                _address(context, builder, sig.args[0], *args, pointee), align=4 if pointee != INT64 else 8
            )

        return result(array, types.int64), codegen

    return load


load_float32x8, load_int32x8, load_int32 = _loader(float32x8), _loader(int32x8), _loader(types.int32)
load_float32x16, load_int64 = _loader(float32x16), _loader(types.int64)


@intrinsic
def store_float32x16(typingctx, array, i, x):
    """Store lanes at element `i` and on of a float32 array."""

    def codegen(context, builder, sig, args):
        array_value, i_value, x_value = args
        builder.store(
            x_value, _address(context, builder, sig.args[0], array_value, i_value, x_value.type), align=4
        )
        return context.get_dummy_value()

    return types.void(array, types.int64, float32x16), codegen


@intrinsic
def add_difference(typingctx, array, i, a, b):
    """Add `a - b`, in double precision, to element `i` and on of a float64 array."""

    def codegen(context, builder, sig, args):
        array_value, i_value, a_value, b_value = args
        wide = ir.VectorType(ir.DoubleType(), a_value.type.count)
        address = _address(context, builder, sig.args[0], array_value, i_value, wide)
        difference = builder.fsub(builder.fpext(a_value, wide), builder.fpext(b_value, wide))
        builder.store(builder.fadd(builder.load(address, align=8), difference), address, align=8)
        return context.get_dummy_value()

    return types.void(array, types.int64, float32x16, float32x16), codegen


@intrinsic
def store_int64(typingctx, array, i, x):
    """Store a number at element `i` of an int64 array; unlike `array[i] = x`, `i` is not looked at."""

    def codegen(context, builder, sig, args):
        array_value, i_value, x_value = args
        builder.store(x_value, _address(context, builder, sig.args[0], array_value, i_value, INT64), align=8)
        return context.get_dummy_value()

    return types.void(array, types.int64, types.int64), codegen


@intrinsic
def store_pairs(typingctx, array, i, high, low):
    """Store `high << 32 | low` for each lane of `high`, at element `i` and on of an int64 array."""

    def codegen(context, builder, sig, args):
        array_value, i_value, high_value, low_value = args
        wide = ir.VectorType(INT64, LANES)
        shifted = builder.shl(builder.zext(high_value, wide), ir.Constant(wide, [32] * LANES))
        pairs = builder.or_(shifted, _broadcast(builder, low_value))
        builder.store(pairs, _address(context, builder, sig.args[0], array_value, i_value, wide), align=8)
        return context.get_dummy_value()

    return types.void(array, types.int64, int32x8, types.int64), codegen


def _splatter(result):
    @intrinsic
    def splat(typingctx, x):
        """`x` in every lane."""

        def codegen(context, builder, sig, args):
            return _broadcast(builder, args[0], result.lanes)

        return result(result.dtype), codegen

    return splat


splat_float32x8, splat_int32x8, splat_float32x16 = (
    _splatter(float32x8),
    _splatter(int32x8),
    _splatter(float32x16),
)


@intrinsic
def lane_numbers(typingctx):
    """0 to 7, as int32."""

    def codegen(context, builder, sig, args):
        return _vector(range(LANES))

    return int32x8(), codegen


@intrinsic
def fma(typingctx, a, b, c):
    """a b + c, with one rounding on targets that have it, with two on others."""

    def codegen(context, builder, sig, args):
        kind = args[0].type
        name = f"llvm.fmuladd.v{kind.count}f32"
        function = cgutils.get_or_insert_function(builder.module, ir.FunctionType(kind, [kind] * 3), name)
        return builder.call(function, args)

    return a(a, a, a), codegen


def _chooser(symbol):
    @intrinsic
    def choose(typingctx, a, b):
        """The smaller, or larger, of two vectors, lane by lane; of a pair with a NaN, the one in `b`."""

        def codegen(context, builder, sig, args):
            return builder.select(_compare(builder, *args, symbol), *args)

        return a(a, a), codegen

    return choose


lane_min, lane_max = _chooser("<"), _chooser(">")


@intrinsic
def select(typingctx, mask, a, b):
    """Lanes of `a` where the mask is set, else of `b`."""

    def codegen(context, builder, sig, args):
        return builder.select(*args)

    return a(mask8, a, a), codegen


@intrinsic
def bits_of(typingctx, x):
    """The bits of float32 lanes as int32; for numbers not below zero the order stays."""

    def codegen(context, builder, sig, args):
        return builder.bitcast(args[0], context.get_value_type(int32x8))

    return int32x8(float32x8), codegen


@intrinsic
def times_power_of_two(typingctx, x, exponent):
    """Lanes of `x` times 2^k, k being the lowest bits of the number `exponent`; all must stay within range."""

    def codegen(context, builder, sig, args):
        whole = ir.VectorType(INT32, args[0].type.count)
        x_bits, k_bits = (builder.bitcast(a, whole) for a in args)
        shifted = builder.shl(k_bits, ir.Constant(whole, [23] * whole.count))
        return builder.bitcast(builder.add(x_bits, shifted), args[0].type)

    return x(x, x), codegen


@intrinsic
def float_from_bits(typingctx, x):
    """The float32 number with the bits of an int32."""

    def codegen(context, builder, sig, args):
        return builder.bitcast(args[0], ir.FloatType())

    return types.float32(types.int32), codegen


@intrinsic
def bits_from_float(typingctx, x):
    """The bits of a float32 number, as int32."""

    def codegen(context, builder, sig, args):
        return builder.bitcast(args[0], INT32)

    return types.int32(types.float32), codegen


@intrinsic
def mask_bits(typingctx, mask):
    """The mask as an integer, lane 0 in its lowest bit."""

    def codegen(context, builder, sig, args):
        return builder.zext(builder.bitcast(args[0], ir.IntType(LANES)), INT64)

    return types.int64(mask8), codegen


@intrinsic
def lowest_bit(typingctx, bits):
    """Place of the lowest bit that is set; there must be one."""

    def codegen(context, builder, sig, args):
        return builder.cttz(args[0], ir.IntType(1)(1))

    return types.int64(types.int64), codegen


@intrinsic
def count_bits(typingctx, bits):
    """Number of bits that are set."""

    def codegen(context, builder, sig, args):
        return builder.ctpop(args[0])

    return types.int64(types.int64), codegen


def _reducer(which):
    @intrinsic
    def reduce(typingctx, x):
        """The smallest, or largest, lane of an int32 vector."""

        def codegen(context, builder, sig, args):
            kind = ir.FunctionType(INT32, [args[0].type])
            name = f"llvm.vector.reduce.s{which}.v{LANES}i32"
            return builder.call(cgutils.get_or_insert_function(builder.module, kind, name), args)

        return types.int32(int32x8), codegen

    return reduce


smallest, largest = _reducer("min"), _reducer("max")


@intrinsic
def lane_sum(typingctx, x):
    """The sum of the lanes of a float32 vector, in any order."""

    def codegen(context, builder, sig, args):
        (value,) = args
        lane, name = value.type.element, f"llvm.vector.reduce.fadd.v{value.type.count}f32"
        function = ir.FunctionType(lane, [lane, value.type])
        add = cgutils.get_or_insert_function(builder.module, function, name)
        return builder.call(add, [lane(-0.0), value], fastmath=("reassoc",))

    return types.float32(x), codegen


@intrinsic
def sort_descending(typingctx, x):
    """The lanes of an int32 vector, the largest first."""

    def codegen(context, builder, sig, args):
        (v,) = args
        for pairs in NETWORK:
            partner = list(range(LANES))
            for i, j in pairs:
                partner[i], partner[j] = j, i
            other = builder.shuffle_vector(v, v, _vector(partner))
            high, low = (builder.select(_compare(builder, v, other, symbol), v, other) for symbol in "><")
            lanes = [i + LANES if partner[i] < i else i for i in range(LANES)]
            v = builder.shuffle_vector(high, low, _vector(lanes))
        return v

    return int32x8(int32x8), codegen
