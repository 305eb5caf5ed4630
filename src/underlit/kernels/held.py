"""A scene as kernels take it: by its address.

numba hands a tuple on as all its numbers, one by one: of a scene some three hundred, to each kernel that takes it, and
each array among them is unpacked anew at every call from Python. Here they are put down once, in a row of slots, and
an attribute is read where it is needed.
"""

from __future__ import annotations

from functools import reduce
from hashlib import sha256
from typing import NamedTuple

import numpy as np
from llvmlite import ir
from numba import typeof, types
from numba.core import cgutils
from numba.core.typing.templates import AttributeTemplate
from numba.extending import NativeValue, infer_getattr, lower_getattr_generic, models, register_model, unbox
from numba.np.numpy_support import as_dtype

INT64 = ir.IntType(64)
_NUMBERS = types.float64, types.int64, types.boolean


class Held:
    """A NamedTuple of numbers, arrays in C order and more such tuples, with the same attributes here and in kernels.

    Parameters
    ----------
    value : NamedTuple
        What is written to its arrays is seen on both sides.

    Raises
    ------
    TypeError
        Something else is in it.
    """

    def __init__(self, value: NamedTuple) -> None:
        self.value, self._numba_type_ = value, HeldType(typeof(value))
        self._slots = np.array(_words(value), np.int64)
        self.address = self._slots.ctypes.data

    def __getattr__(self, name):
        return getattr(self.value, name)


def _words(value) -> list[int]:
    """What the slots hold: of an array its address and shape, of a number its bits."""
    if isinstance(value, tuple):
        return [word for part in value for word in _words(part)]
    if isinstance(value, np.ndarray):
        return [value.ctypes.data, *value.shape]
    return [int(np.float64(value).view(np.int64) if isinstance(value, float) else value)]


class HeldType(types.Type):
    """numba's type of what is held.

    Parameters
    ----------
    of : numba.types.NamedTuple

    Attributes
    ----------
    instance_class : type
        The NamedTuple.
    places : dict
        First slot and type of each attribute.
    n_slots : int
    """

    def __init__(self, of: types.NamedTuple) -> None:
        self.instance_class = of.instance_class
        self.places, self.n_slots = {}, 0
        for name, kind in zip(of.fields, of.types, strict=True):
            kind = HeldType(kind) if isinstance(kind, types.NamedTuple) else kind
            self.places[name] = self.n_slots, kind
            self.n_slots += _n_slots(kind)
        # A short name, as it becomes a part of the name of each kernel that is called with it.
        digest = sha256(str(self.places).encode()).hexdigest()
        super().__init__(f"{of.instance_class.__name__}_{digest[:12]}")


def _n_slots(kind: types.Type) -> int:
    if isinstance(kind, HeldType):
        return kind.n_slots
    if isinstance(kind, types.Array) and kind.layout == "C":
        return 1 + kind.ndim
    if kind not in _NUMBERS:
        raise TypeError(f"{kind} cannot be held: only arrays in C order, float64, int64 and bool")
    return 1


@register_model(HeldType)
class _HeldModel(models.PrimitiveModel):
    def __init__(self, manager, kind):
        super().__init__(manager, kind, INT64.as_pointer())


@unbox(HeldType)
def _unbox(kind, value, c):
    number = c.pyapi.object_getattr_string(value, "address")
    address = c.pyapi.long_as_longlong(number)
    c.pyapi.decref(number)
    return NativeValue(c.builder.inttoptr(address, INT64.as_pointer()), c.pyapi.c_api_error())


@infer_getattr
class _Attributes(AttributeTemplate):
    key = HeldType

    def generic_resolve(self, held, name):
        return held.places[name][1] if name in held.places else None


@lower_getattr_generic(HeldType)
def _attribute(context, builder, held, slots, name):
    place, kind = held.places[name]
    slots = builder.gep(slots, [INT64(place)])
    if isinstance(kind, HeldType):
        return slots
    if isinstance(kind, types.Array):
        return _array(context, builder, slots, kind)
    model = context.data_model_manager[kind]
    return model.from_data(builder, _load(builder, slots, 0, model.get_data_type()))


def _load(builder, slots, place, kind):
    """What a slot holds; the compiler may trust that it stays."""
    value = builder.load(builder.bitcast(builder.gep(slots, [INT64(place)]), kind.as_pointer()))
    value.set_metadata("invariant.load", builder.module.add_metadata([]))
    return value


def _array(context, builder, slots, kind):
    """An array from its address and shape."""
    model, item = context.data_model_manager[kind], context.get_data_type(kind.dtype)
    itemsize = INT64(as_dtype(kind.dtype).itemsize)
    shape = [_load(builder, slots, 1 + axis, INT64) for axis in range(kind.ndim)]
    strides = [itemsize]
    for length in reversed(shape[1:]):
        strides.insert(0, builder.mul(strides[0], length))
    parts = {
        "nitems": reduce(builder.mul, shape),
        "itemsize": itemsize,
        "data": _load(builder, slots, 0, item.as_pointer()),
        "shape": cgutils.pack_array(builder, shape),
        "strides": cgutils.pack_array(builder, strides),
    }
    array = ir.Constant(model.get_value_type(), None)  # its owner is none of the kernels' business
    for name, part in parts.items():
        array = builder.insert_value(array, part, model.get_field_position(name))
    return array
