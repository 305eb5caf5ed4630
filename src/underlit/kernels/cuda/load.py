"""Loads and stores as a card does them best: sixteen bytes at a time, and in its shared memory."""

from __future__ import annotations

from llvmlite import ir
from numba.core import types
from numba.cuda.extending import intrinsic

_INT, _LONG, _FLOAT = ir.IntType(32), ir.IntType(64), ir.FloatType()
_GLOBAL, _SHARED = 1, 3  # address spaces


def _widened(builder, value, kind):
    if value.type.width == 64:
        return value
    return builder.sext(value, _LONG) if kind.signed else builder.zext(value, _LONG)


@intrinsic
def load4(typing_context, array, row, column):
    """Four neighbouring float32 of row `row` of a C-ordered (n, 4 m) array, from column 4 `column` on."""
    signature = types.UniTuple(types.float32, 4)(array, row, column)

    def generate(context, builder, signature, arguments):
        array_type, row_type, column_type = signature.args
        view = context.make_array(array_type)(context, builder, arguments[0])
        vector = ir.VectorType(_FLOAT, 4)
        place = builder.add(
            builder.mul(_widened(builder, arguments[1], row_type), builder.extract_value(view.shape, 1)),
            builder.mul(_widened(builder, arguments[2], column_type), ir.Constant(_LONG, 4)),
        )
        pointer = builder.bitcast(builder.gep(view.data, [place]), vector.as_pointer())
        loaded = builder.load(pointer, align=16)
        parts = [builder.extract_element(loaded, ir.Constant(_INT, k)) for k in range(4)]
        return context.make_tuple(builder, signature.return_type, parts)

    return signature, generate


@intrinsic
def bits(typing_context, number):
    """The bits of a float32 as an int32."""

    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], _INT)

    return types.int32(number), generate


@intrinsic
def from_bits(typing_context, number):
    """The float32 of the bits of an int32."""

    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], _FLOAT)

    return types.float32(types.int32), generate


@intrinsic
def add_global(typing_context, array, place, amount):
    """Add an int64 to number `place` of a C-ordered int64 array in the card's memory at once."""

    def generate(context, builder, signature, arguments):
        view = context.make_array(signature.args[0])(context, builder, arguments[0])
        pointer = builder.addrspacecast(view.data, _LONG.as_pointer(_GLOBAL), "global")
        pointer = builder.gep(pointer, [_widened(builder, arguments[1], signature.args[1])])
        builder.atomic_rmw("add", pointer, arguments[2], "monotonic")
        return context.get_dummy_value()

    return types.void(array, place, types.int64), generate


def _shared_word(builder, base, offset, kind):
    """Pointer to a word of the block's shared memory, at a place that is a sum: `offset` is mostly a constant."""
    module = builder.module
    name = "underlit_shared_words"
    memory = module.globals.get(name)
    if memory is None:
        memory = ir.GlobalVariable(module, ir.ArrayType(_INT, 0), name, addrspace=_SHARED)
        memory.linkage, memory.align = "external", 16
    zero = ir.Constant(_INT, 0)
    narrow = [value if value.type.width == 32 else builder.trunc(value, _INT) for value in (base, offset)]
    start = builder.gep(memory, [zero, narrow[0]])
    word = builder.gep(start, [narrow[1]])
    return builder.bitcast(word, kind.as_pointer(_SHARED))


def _reader(number, kind):
    @intrinsic
    def read(typing_context, base, offset):
        def generate(context, builder, signature, arguments):
            return builder.load(_shared_word(builder, *arguments, kind))

        return number(base, offset), generate

    return read


def _writer(number, kind):
    @intrinsic
    def write(typing_context, base, offset, value):
        def generate(context, builder, signature, arguments):
            builder.store(arguments[2], _shared_word(builder, *arguments[:2], kind))
            return context.get_dummy_value()

        return types.void(base, offset, number), generate

    return write


def _shared_quad(builder, row, offset):
    """Pointer to four words of shared memory, quad `row` from a place on that is a constant."""
    place = builder.mul(row if row.type.width == 32 else builder.trunc(row, _INT), ir.Constant(_INT, 4))
    return _shared_word(builder, place, offset, ir.VectorType(_FLOAT, 4))


@intrinsic
def load4_shared(typing_context, row, offset):
    """Four neighbouring float32 of shared memory: quad `row` of those from `offset` on."""

    def generate(context, builder, signature, arguments):
        loaded = builder.load(_shared_quad(builder, *arguments), align=16)
        parts = [builder.extract_element(loaded, ir.Constant(_INT, k)) for k in range(4)]
        return context.make_tuple(builder, signature.return_type, parts)

    return types.UniTuple(types.float32, 4)(row, offset), generate


@intrinsic
def store4_shared(typing_context, row, offset, a, b, c, d):
    """Set four neighbouring float32 of shared memory."""

    def generate(context, builder, signature, arguments):
        value = ir.Constant(ir.VectorType(_FLOAT, 4), ir.Undefined)
        for k, part in enumerate(arguments[2:]):
            value = builder.insert_element(value, part, ir.Constant(_INT, k))
        builder.store(value, _shared_quad(builder, *arguments[:2]), align=16)
        return context.get_dummy_value()

    return types.void(row, offset, *[types.float32] * 4), generate


@intrinsic
def add_shared(typing_context, base, offset, value):
    """Add a uint32 to a word of shared memory at once; returned is what stood there before."""

    def generate(context, builder, signature, arguments):
        pointer = _shared_word(builder, *arguments[:2], _INT)
        return builder.atomic_rmw("add", pointer, arguments[2], "monotonic")

    return types.uint32(base, offset, types.uint32), generate


load, store = _reader(types.float32, _FLOAT), _writer(types.float32, _FLOAT)
load_word, store_word = _reader(types.int32, _INT), _writer(types.int32, _INT)
load_long, store_long = _reader(types.int64, _LONG), _writer(types.int64, _LONG)
load_bits, store_bits = _reader(types.uint32, _INT), _writer(types.uint32, _INT)
