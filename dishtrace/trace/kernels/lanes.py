"""Eight boxes, keys or triangles in one instruction each: the innermost steps of walking a tree, written as vectors.

A key stands for a child whose box is entered: the distance of the entry as the bits of a float32, which sort as the
distance does, with the child's number in the three lowest bits; NOTHING stands for no child. The compiler turns vectors
of eight into whatever the processor has.
"""

from __future__ import annotations

import numpy as np
from llvmlite import ir
from numba.core import cgutils, types
from numba.extending import intrinsic

# The key of no child: beyond that of every distance.
NOTHING = np.int32(0x7FFFFFFF)
# Shared edges: a hair of overlap (relative to the triangle) is harmless, a hair of gap loses light.
EDGE = -1e-12
# Covers the rounding of the three operations that give a distance to a box.
ROUNDED_UP = 1.0 + 1e-6

_WIDTH = 8
_I32, _I64, _F32, _F64 = ir.IntType(32), ir.IntType(64), ir.FloatType(), ir.DoubleType()
_DOUBLES = ir.VectorType(_F64, _WIDTH)
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
    """Pointer to eight items of an array, from its item `index` on."""
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


def _cross(builder, a, b):
    """Cross product of two triples."""
    return [builder.fsub(builder.fmul(a[i], b[j]), builder.fmul(a[j], b[i])) for i, j in ((1, 2), (2, 0), (0, 1))]


def _dot(builder, a, b):
    """Dot product of two triples, summed from the left."""
    x, y, z = (builder.fmul(p, q) for p, q in zip(a, b, strict=True))
    return builder.fadd(builder.fadd(x, y), z)


def _smallest(builder, values):
    """Smallest of eight doubles, in all lanes' halves of halves of halves."""
    for width in (4, 2, 1):
        lanes = ir.VectorType(_I32, width)
        low = ir.Constant(lanes, [ir.Constant(_I32, k) for k in range(width)])
        high = ir.Constant(lanes, [ir.Constant(_I32, k + width) for k in range(width)])
        nothing = ir.Constant(values.type, ir.Undefined)
        one, other = builder.shuffle_vector(values, nothing, low), builder.shuffle_vector(values, nothing, high)
        values = _lesser(builder, one, other)
    return builder.extract_element(values, ir.Constant(_I32, 0))


@intrinsic
def nearest_in_pack(_typing, packs, leaf, ox, oy, oz, dx, dy, dz, t_max, skipped):
    """Nearest of a leaf's eight triangles that a ray meets before t_max: (t, its number in the leaf), or (.., -1).

    packs (l, 9, 8) float64, of a tree; skipped: the number of one that is not asked for, or any other number. The
    arithmetic is that of triangle_hit (Moller and Trumbore 1997), to the last bit.
    """
    double = types.float64
    result = types.Tuple((double, types.int64))
    signature = result(packs, types.int64, *[double] * 7, types.int64)

    def code(context, builder, sig, args):
        first = builder.mul(args[1], ir.Constant(_I64, 9 * _WIDTH))

        def triple(k):
            places = [builder.add(first, ir.Constant(_I64, _WIDTH * (k + axis))) for axis in range(3)]
            return [
                builder.load(_address(context, builder, sig.args[0], args[0], place, _DOUBLES), align=8)
                for place in places
            ]

        corner, edge_1, edge_2 = triple(0), triple(3), triple(6)
        origin = [_all_lanes(builder, args[k], _DOUBLES) for k in (2, 3, 4)]
        direction = [_all_lanes(builder, args[k], _DOUBLES) for k in (5, 6, 7)]
        one, edge, end = (_all_lanes(builder, ir.Constant(_F64, value), _DOUBLES) for value in (1.0, EDGE, 1.0 - EDGE))
        numbers = ir.Constant(_DOUBLES, [ir.Constant(_F64, float(k)) for k in range(_WIDTH)])
        p = _cross(builder, direction, edge_2)
        inverse = builder.fdiv(one, _dot(builder, edge_1, p))
        s = [builder.fsub(a, b) for a, b in zip(origin, corner, strict=True)]
        u = builder.fmul(_dot(builder, s, p), inverse)
        q = _cross(builder, s, edge_1)
        v = builder.fmul(_dot(builder, direction, q), inverse)
        t = builder.fmul(_dot(builder, edge_2, q), inverse)
        tests = (
            builder.fcmp_ordered(">=", u, edge),
            builder.fcmp_ordered(">=", v, edge),
            builder.fcmp_ordered("<=", builder.fadd(u, v), end),
            builder.fcmp_ordered(">", t, _all_lanes(builder, ir.Constant(_F64, 0.0), _DOUBLES)),
            builder.fcmp_ordered("<", t, _all_lanes(builder, args[8], _DOUBLES)),
            builder.fcmp_ordered("!=", numbers, _all_lanes(builder, builder.sitofp(args[9], _F64), _DOUBLES)),
        )
        is_met = tests[0]
        for test in tests[1:]:
            is_met = builder.and_(is_met, test)
        beyond = _all_lanes(builder, ir.Constant(_F64, float("inf")), _DOUBLES)
        nearest = _smallest(builder, builder.select(is_met, t, beyond))
        is_it = builder.and_(is_met, builder.fcmp_ordered("==", t, _all_lanes(builder, nearest, _DOUBLES)))
        bits = builder.zext(builder.bitcast(is_it, ir.IntType(_WIDTH)), _I64)
        number = builder.cttz(bits, ir.Constant(ir.IntType(1), 0))
        is_any = builder.icmp_signed("!=", bits, ir.Constant(_I64, 0))
        number = builder.select(is_any, number, ir.Constant(_I64, -1))
        return context.make_tuple(builder, sig.return_type, (nearest, number))

    return signature, code


@intrinsic
def fetch(_typing, array, i, offset):
    """Ask for the line of memory that holds byte `offset` of array[i], a little before it is needed."""
    signature = types.void(array, types.int64, types.int64)

    def code(context, builder, sig, args):
        made = context.make_array(sig.args[0])(context, builder, args[0])
        stride = cgutils.unpack_tuple(builder, made.strides)[0]
        place = builder.add(builder.mul(args[1], stride), args[2])
        byte = ir.IntType(8).as_pointer()
        kind = ir.FunctionType(ir.VoidType(), [byte, _I32, _I32, _I32])
        name = "llvm.prefetch.p0i8"
        function = builder.module.globals.get(name) or ir.Function(builder.module, kind, name=name)
        # To be read (0), kept in all caches (3), data (1).
        how = [ir.Constant(_I32, k) for k in (0, 3, 1)]
        builder.call(function, [builder.gep(builder.bitcast(made.data, byte), [place]), *how])
        return context.get_dummy_value()

    return signature, code
