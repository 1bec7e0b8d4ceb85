"""Eight boxes or eight keys in one instruction each: the innermost steps of walking a tree, written as vectors.

A key stands for a child whose box is entered: the distance of the entry as the bits of a float32, which sort as the
distance does, with the child's number in the three lowest bits; NOTHING stands for no child. The compiler turns vectors
of eight into whatever the processor has.
"""

from __future__ import annotations

import numpy as np
from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic

# The key of no child: beyond that of every distance.
NOTHING = np.int32(0x7FFFFFFF)
# Covers the rounding of the three operations that give a distance to a box.
ROUNDED_UP = 1.0 + 1e-6

_WIDTH = 8
_I32, _I64, _F32 = ir.IntType(32), ir.IntType(64), ir.FloatType()
_FLOATS, _INTS = ir.VectorType(_F32, _WIDTH), ir.VectorType(_I32, _WIDTH)


def _constants(values: list[int]) -> ir.Constant:
    return ir.Constant(_INTS, [ir.Constant(_I32, value) for value in values])


_NUMBERS = _constants(list(range(_WIDTH)))
_WITHOUT_NUMBER = _constants([-_WIDTH] * _WIDTH)
_NOTHINGS = _constants([int(NOTHING)] * _WIDTH)
_ZEROS = _constants([0] * _WIDTH)


def _all_lanes(builder, value, vector):
    one = builder.insert_element(ir.Constant(vector, ir.Undefined), value, ir.Constant(_I32, 0))
    return builder.shuffle_vector(one, ir.Constant(vector, ir.Undefined), _ZEROS)


def _lesser(builder, a, b):
    return builder.select(builder.fcmp_ordered("<", a, b), a, b)


def _greater(builder, a, b):
    return builder.select(builder.fcmp_ordered(">", a, b), a, b)


def _address(context, builder, array_type, array, index, vector):
    """Pointer to eight items of an array of 32-bit items, from its item `index` on."""
    data = context.make_array(array_type)(context, builder, array).data
    return builder.bitcast(builder.gep(data, [index]), vector.as_pointer())


def _least(builder, keys):
    """Smallest of eight keys."""
    kind = ir.FunctionType(_I32, [_INTS])
    name = "llvm.vector.reduce.smin.v8i32"
    function = builder.module.globals.get(name) or ir.Function(builder.module, kind, name=name)
    return builder.call(function, [keys])


def _nearest_and_rest(builder, keys, place):
    """Nearest key, and in bit 32 whether there are others; these are stored at a place."""
    nearest = _least(builder, keys)
    rest = builder.select(builder.icmp_signed("==", keys, _all_lanes(builder, nearest, _INTS)), _NOTHINGS, keys)
    builder.store(rest, place, align=4)
    is_any = builder.icmp_signed("!=", rest, _NOTHINGS)
    bits = builder.bitcast(is_any, ir.IntType(_WIDTH))
    has_rest = builder.zext(builder.icmp_signed("!=", bits, ir.Constant(ir.IntType(_WIDTH), 0)), _I64)
    return builder.or_(builder.zext(nearest, _I64), builder.shl(has_rest, ir.Constant(_I64, 32)))


@intrinsic
def enter_node(_typing, boxes, node, ox, oy, oz, ix, iy, iz, limit, keys, depth):
    """Nearest child of a node whose box a ray enters before a limit; the others' keys into keys[depth].

    boxes (m, 64) float32, of a tree; (ox, oy, oz) start and (ix, iy, iz) inverse direction, float32; keys (s, 16) int32
    is scratch, its first eight columns. Returns the nearest key, plus 2^32 when others are left.
    """
    single = types.float32
    signature = types.int64(boxes, types.int64, *[single] * 7, keys, types.int64)

    def code(context, builder, sig, args):
        first = builder.mul(args[1], ir.Constant(_I64, 64))

        def bound(k):
            place = builder.add(first, ir.Constant(_I64, _WIDTH * k))
            return builder.load(_address(context, builder, sig.args[0], args[0], place, _FLOATS), align=4)

        nears, fars = [], []
        for axis in range(3):
            start, inverse = (_all_lanes(builder, args[k + axis], _FLOATS) for k in (2, 5))
            t0 = builder.fmul(builder.fsub(bound(axis), start), inverse)
            t1 = builder.fmul(builder.fsub(bound(axis + 3), start), inverse)
            nears.append(_lesser(builder, t0, t1))
            fars.append(_greater(builder, t0, t1))
        zero = _all_lanes(builder, ir.Constant(_F32, 0.0), _FLOATS)
        near = _greater(builder, _greater(builder, nears[0], nears[1]), _greater(builder, nears[2], zero))
        far = _lesser(builder, _lesser(builder, fars[0], fars[1]), fars[2])
        far = builder.fmul(far, _all_lanes(builder, ir.Constant(_F32, np.float32(ROUNDED_UP)), _FLOATS))
        # A lane without a child holds no numbers: the order of these two keeps that, and no comparison holds.
        end = _lesser(builder, _all_lanes(builder, args[8], _FLOATS), far)
        is_met = builder.fcmp_ordered("<=", near, end)
        key = builder.or_(builder.and_(builder.bitcast(near, _INTS), _WITHOUT_NUMBER), _NUMBERS)
        keys_met = builder.select(is_met, key, _NOTHINGS)
        offset = builder.mul(args[10], ir.Constant(_I64, 2 * _WIDTH))
        return _nearest_and_rest(builder, keys_met, _address(context, builder, sig.args[9], args[9], offset, _INTS))

    return signature, code


@intrinsic
def next_child(_typing, keys, depth, limit):
    """The same for the keys left at keys[depth], of those before a limit (float32)."""
    signature = types.int64(keys, types.int64, types.float32)

    def code(context, builder, sig, args):
        place = _address(
            context, builder, sig.args[0], args[0], builder.mul(args[1], ir.Constant(_I64, 2 * _WIDTH)), _INTS
        )
        left = builder.load(place, align=4)
        most = _all_lanes(builder, builder.bitcast(args[2], _I32), _INTS)
        is_before = builder.icmp_signed("<=", left, most)
        return _nearest_and_rest(builder, builder.select(is_before, left, _NOTHINGS), place)

    return signature, code
