"""From numbers in (0, 1) to points, angles and random words: the same functions for every backend."""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device

_M0 = np.uint64(0xD2511F53)
_M1 = np.uint64(0xCD9E8D57)
_W0 = np.uint64(0x9E3779B9)
_W1 = np.uint64(0xBB67AE85)
_LOW = np.uint64(0xFFFFFFFF)
_HALF_WORD = np.uint64(32)
_ONE = np.uint64(1)
_TO_UNIT = 2.0**-32
# Half width of the middle part of algorithm AS 241.
CENTRE = 0.425
# Coefficients of algorithm AS 241 (Wichura 1988, Applied Statistics 37, PPND16), highest power first.
_CENTRE_TOP = (
    2.5090809287301226727e3,
    3.3430575583588128105e4,
    6.7265770927008700853e4,
    4.5921953931549871457e4,
    1.3731693765509461125e4,
    1.9715909503065514427e3,
    1.3314166789178437745e2,
    3.3871328727963666080e0,
)
_CENTRE_BOTTOM = (
    5.2264952788528545610e3,
    2.8729085735721942674e4,
    3.9307895800092710610e4,
    2.1213794301586595867e4,
    5.3941960214247511077e3,
    6.8718700749205790830e2,
    4.2313330701600911252e1,
    1.0,
)
_MIDDLE_TOP = (
    7.74545014278341407640e-4,
    2.27238449892691845833e-2,
    2.41780725177450611770e-1,
    1.27045825245236838258e0,
    3.64784832476320460504e0,
    5.76949722146069140550e0,
    4.63033784615654529590e0,
    1.42343711074968357734e0,
)
_MIDDLE_BOTTOM = (
    1.05075007164441684324e-9,
    5.47593808499534494600e-4,
    1.51986665636164571966e-2,
    1.48103976427480074590e-1,
    6.89767334985100004550e-1,
    1.67638483018380384940e0,
    2.05319162663775882187e0,
    1.0,
)
_TAIL_TOP = (
    2.01033439929228813265e-7,
    2.71155556874348757815e-5,
    1.24266094738807843860e-3,
    2.65321895265761230930e-2,
    2.96560571828504891230e-1,
    1.78482653991729133580e0,
    5.46378491116411436990e0,
    6.65790464350110377720e0,
)
_TAIL_BOTTOM = (
    2.04426310338993978564e-15,
    1.42151175831644588870e-7,
    1.84631831751005468180e-5,
    7.86869131145613259100e-4,
    1.48753612908506148525e-2,
    1.36929880922735805310e-1,
    5.99832206555887937690e-1,
    1.0,
)


@device
def philox_words(c0, c1, c2, c3, k0, k1):
    """Philox-4x32-10: four words below 2**32 from four counter words and two key words (all uint64)."""
    for _ in range(10):
        p0 = c0 * _M0
        p1 = c2 * _M1
        c0, c1, c2, c3 = (p1 >> _HALF_WORD) ^ c1 ^ k0, p1 & _LOW, (p0 >> _HALF_WORD) ^ c3 ^ k1, p0 & _LOW
        k0 = (k0 + _W0) & _LOW
        k1 = (k1 + _W1) & _LOW
    return c0, c1, c2, c3


@device
def uniform_four(ray, draw, stream, seed_low, seed_high):
    """Four numbers in (0, 1) for one draw of one ray."""
    counter = np.uint64(ray)
    a, b, c, d = philox_words(
        counter & _LOW,
        counter >> _HALF_WORD,
        np.uint64(draw),
        np.uint64(stream),
        np.uint64(seed_low),
        np.uint64(seed_high),
    )
    return (a + 0.5) * _TO_UNIT, (b + 0.5) * _TO_UNIT, (c + 0.5) * _TO_UNIT, (d + 0.5) * _TO_UNIT


@device
def first_point(columns, shifts, scramble, index, state):
    """Set state (d,) uint32 to the point of one index."""
    gray = np.uint64(index) ^ (np.uint64(index) >> _ONE)
    for d in range(state.shape[0]):
        x = shifts[scramble, d]
        for k in range(32):
            if (gray >> np.uint64(k)) & _ONE:
                x ^= columns[scramble, d, k]
        state[d] = x


@device
def next_point(columns, scramble, index, state):
    """Step state from the point before to the point of this index (> 0)."""
    k = 0
    while (index >> k) & 1 == 0:
        k += 1
    for d in range(state.shape[0]):
        state[d] ^= columns[scramble, d, k]


@device
def point_index(numbering, scramble, place):
    """Index of the point at a place of the order; the inverse Gray code is a running sum of bits."""
    gray, x = place ^ (place >> 1), 0
    for k in range(32):
        if (gray >> k) & 1:
            x ^= np.int64(numbering[scramble, k])
    for shift in (1, 2, 4, 8, 16):
        x ^= x >> shift
    return x


@device
def unit(word):
    """A 32-bit word as a number in the open interval (0, 1)."""
    return (word + 0.5) * _TO_UNIT


@device
def ratio(top, bottom, r):
    """Quotient of two polynomials of degree 7, coefficients from the highest power down."""
    p, q = top[0], bottom[0]
    for k in range(1, 8):
        p = p * r + top[k]
        q = q * r + bottom[k]
    return p / q


@device
def central_quantile(q):
    """Quantile of the standard normal distribution at q + 1/2, |q| <= CENTRE."""
    return q * ratio(_CENTRE_TOP, _CENTRE_BOTTOM, 0.180625 - q * q)


@device
def normal_quantile(p):
    """Quantile of the standard normal distribution, 0 < p < 1, to about 1e-16 (algorithm AS 241)."""
    q = p - 0.5
    if abs(q) <= CENTRE:
        return central_quantile(q)
    r = math.sqrt(-math.log(min(p, 1.0 - p)))
    if r <= 5.0:
        return math.copysign(ratio(_MIDDLE_TOP, _MIDDLE_BOTTOM, r - 1.6), q)
    return math.copysign(ratio(_TAIL_TOP, _TAIL_BOTTOM, r - 5.0), q)


@device
def sun_tan2(table, u):
    """tan^2 of the angle from the sun's centre, from the inverse table (33, cells + 1), by linear interpolation."""
    n_cells = table.shape[1] - 1
    m, e = math.frexp(1.0 - u)
    position = (2.0 * m - 1.0) * n_cells
    j = min(int(position), n_cells - 1)
    return table[-e, j] + (position - j) * (table[-e, j + 1] - table[-e, j])


@device
def cos_sin_turns(u):
    """Cosine and sine of 2 pi u for 0 <= u <= 1, to 3e-16: Taylor series about the nearest quarter turn."""
    quarter = math.floor(4.0 * u + 0.5)
    x = 2.0 * math.pi * (u - 0.25 * quarter)
    y = x * x
    s = x * (
        1.0
        + y
        * (
            -1.0 / 6.0
            + y
            * (
                1.0 / 120.0
                + y
                * (
                    -1.0 / 5040.0
                    + y * (1.0 / 362880.0 + y * (-1.0 / 39916800.0 + y * (1.0 / 6227020800.0 - y / 1307674368000.0)))
                )
            )
        )
    )
    c = 1.0 + y * (
        -0.5
        + y
        * (
            1.0 / 24.0
            + y
            * (
                -1.0 / 720.0
                + y
                * (
                    1.0 / 40320.0
                    + y
                    * (-1.0 / 3628800.0 + y * (1.0 / 479001600.0 + y * (-1.0 / 87178291200.0 + y / 20922789888000.0)))
                )
            )
        )
    )
    is_odd = (quarter == 1.0) | (quarter == 3.0)
    cos, sin = -s if is_odd else c, c if is_odd else s
    cos = -cos if (quarter == 2.0) | (quarter == 3.0) else cos
    sin = -sin if (quarter == 2.0) | (quarter == 3.0) else sin
    return cos, sin


@device
def n_up_to(values, limit):
    """How many of some increasing values are not above a limit."""
    low, high = 0, values.shape[0]
    while low < high:
        middle = (low + high) >> 1
        if values[middle] <= limit:
            low = middle + 1
        else:
            high = middle
    return low


@device
def picked(cdf, u):
    """Number picked by u from running shares, and u rescaled to (0, 1) within it."""
    n = cdf.shape[0]
    if n == 1:
        return 0, u
    i = min(n_up_to(cdf, u), n - 1)
    below = cdf[i - 1] if i > 0 else 0.0
    return i, min(max((u - below) / (cdf[i] - below), 0.0), 1.0)


@device
def perpendicular(x, y, z):
    """Two unit vectors square to a unit vector (Duff et al. 2017), e1 x e2 = axis."""
    sign = math.copysign(1.0, z)
    a = -1.0 / (sign + z)
    b = x * y * a
    return 1.0 + sign * x * x * a, sign * b, -sign * x, b, sign + y * y * a, -y


@device
def tilted(x, y, z, a, b):
    """Unit vector turned by the tangents a, b along its two perpendicular axes."""
    e1x, e1y, e1z, e2x, e2y, e2z = perpendicular(x, y, z)
    tx, ty, tz = x + a * e1x + b * e2x, y + a * e1y + b * e2y, z + a * e1z + b * e2z
    s = 1.0 / math.sqrt(1.0 + a * a + b * b)
    return tx * s, ty * s, tz * s


@device
def lambert(nx, ny, nz, u, v):
    """Direction from a diffuse surface with unit normal n: density cos / pi."""
    r = math.sqrt(u)
    cos, sin = cos_sin_turns(v)
    a, b, c = r * cos, r * sin, math.sqrt(1.0 - u)
    e1x, e1y, e1z, e2x, e2y, e2z = perpendicular(nx, ny, nz)
    return a * e1x + b * e2x + c * nx, a * e1y + b * e2y + c * ny, a * e1z + b * e2z + c * nz
