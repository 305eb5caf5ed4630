"""Where a photon starts and which way it goes; and how much light a source sends a given way.

Local coordinates of a source: its own x and y, and z along the beam's axis.
"""

from __future__ import annotations

import math

from underlit.kernels.arrays import COSINE_POWER, EVEN_DISC, LED_LIST, TUBE
from underlit.kernels.features import DISCS, LEDS, TABLES, TUBES
from underlit.kernels.jit import inlined_kernel, kernel
from underlit.kernels.real import cos_sin
from underlit.kernels.sampling import TWO_PI, about, cosine_power, disc


@kernel
def face_point(source, u1, u2):
    """Local (x, y) of the start on the source's face. [m]"""
    sx, sy = source.size_m[0], source.size_m[1]
    if DISCS and source.layout == EVEN_DISC:
        a, b = disc(u1, u2)
        return 0.5 * sx * a, 0.5 * sy * b
    if LEDS and source.layout == LED_LIST:
        n = source.leds_m.shape[0]
        k = min(int(u1 * float(n)), n - 1)
        return (
            source.leds_m[k, 0] + sx * (u1 * float(n) - float(k) - 0.5),
            source.leds_m[k, 1] + sy * (u2 - 0.5),
        )
    return sx * (u1 - 0.5), sy * (u2 - 0.5)


@kernel
def source_point(source, u1, u2):
    """Local coordinates of the source point of two uniform numbers. [m]"""
    if TUBES and source.layout == TUBE:
        radius, turn = 0.5 * source.size_m[1], TWO_PI * u2
        return source.size_m[0] * (u1 - 0.5), radius * math.sin(turn), radius * math.cos(turn)
    lx, ly = face_point(source, u1, u2)
    return lx, ly, 0.0


@kernel
def step_of(values, x, guide, u):
    """Step k of rising values with values[k] <= x < values[k + 1], the last one at their end.

    `u` is the argument of the guide at x, 0 to 1: indexed search (H.-C. Chen and Y. Asau 1974, AIIE Trans. 6:163).
    """
    k = guide[min(int(u * float(guide.size)), guide.size - 1)]
    while k < values.size - 2 and values[k + 1] <= x:
        k += 1
    return k


@kernel
def linear_draw(a, b, u):
    """Place from 0 to 1 drawn from a density that runs straight from `a` at 0 to `b` at 1."""
    root = a + math.sqrt(max(0.0, a * a + u * (b * b - a * a)))
    return u * (a + b) / root if root > 0.0 else u


@kernel
def table_direction(table, u3, u4):
    """Polar cosine and azimuth drawn from a beam table: the azimuth by its own share, then the polar angle.

    At an azimuth between two planes the light is a mixture of both: `u3` picks the plane, then the place in it.
    """
    k = step_of(table.before, u4, table.before_guide, u4)
    share = table.before[k + 1] - table.before[k]
    a, b = table.light[k], table.light[k + 1]
    t = linear_draw(a, b, max(0.0, (u4 - table.before[k]) / share)) if share > 0.0 else 0.5
    phi = table.azimuth_rad[k] + t * (table.azimuth_rad[k + 1] - table.azimuth_rad[k])
    row, next_row = table.row[k], table.row[k + 1]
    if row != next_row:
        both = (1.0 - t) * a + t * b
        first = (1.0 - t) * a / both if both > 0.0 else 0.5
        if u3 < first:
            u3 /= first
        else:
            row, u3 = next_row, (u3 - first) / (1.0 - first)
    within, value = table.within[row], table.intensity[row]
    j = step_of(within, u3, table.within_guide[row], u3)
    share = within[j + 1] - within[j]
    f = linear_draw(value[j], value[j + 1], max(0.0, (u3 - within[j]) / share)) if share > 0.0 else 0.5
    return 1.0 - (table.versine[j] + f * (table.versine[j + 1] - table.versine[j])), phi


@kernel
def table_intensity(table, lx, ly, lz):
    """Intensity of a beam table along a local unit direction, per photon sent out. [sr-1]"""
    s, last = 1.0 - lz, table.versine.size - 1
    if s < table.versine[0] or s > table.versine[last]:
        return 0.0
    j = step_of(table.versine, s, table.versine_guide, math.sqrt(0.5 * max(s, 0.0)))
    f = (s - table.versine[j]) / (table.versine[j + 1] - table.versine[j])
    if table.azimuth_rad.size == 2:
        return (1.0 - f) * table.intensity[0, j] + f * table.intensity[0, j + 1]
    phi = math.atan2(ly, lx)
    while phi < table.azimuth_rad[0]:
        phi += TWO_PI
    k = step_of(table.azimuth_rad, phi, table.azimuth_guide, (phi - table.azimuth_rad[0]) / TWO_PI)
    t = (phi - table.azimuth_rad[k]) / (table.azimuth_rad[k + 1] - table.azimuth_rad[k])
    one, two = table.row[k], table.row[k + 1]
    near = (1.0 - f) * table.intensity[one, j] + f * table.intensity[one, j + 1]
    return (1.0 - t) * near + t * ((1.0 - f) * table.intensity[two, j] + f * table.intensity[two, j + 1])


@inlined_kernel
def beam_direction(source, u3, u4):
    """Polar cosine and azimuth in the beam's own frame."""
    if not TABLES or source.beam == COSINE_POWER:
        return cosine_power(u3, source.power_m), TWO_PI * u4
    return table_direction(source.table, u3, u4)


@kernel
def local_intensity(source, u1, u2, lx, ly, lz):
    """What the source point of (u1, u2) sends along a local unit direction, per photon and solid angle. [sr-1]"""
    if source.layout == TUBE:
        turn = TWO_PI * u2
        return max(0.0, math.sin(turn) * ly + math.cos(turn) * lz) / math.pi
    if source.beam == COSINE_POWER:
        if lz <= 0.0:
            return 0.0
        shape = lz if source.power_m == 1.0 else lz**source.power_m
        return (source.power_m + 1.0) / TWO_PI * shape
    return table_intensity(source.table, lx, ly, lz)


@inlined_kernel
def intensity(source, u1, u2, dx, dy, dz):
    """`local_intensity` along a unit direction of the world. [sr-1]"""
    axes = source.axes
    lx = dx * axes[0, 0] + dy * axes[0, 1] + dz * axes[0, 2]
    ly = dx * axes[1, 0] + dy * axes[1, 1] + dz * axes[1, 2]
    lz = dx * axes[2, 0] + dy * axes[2, 1] + dz * axes[2, 2]
    return local_intensity(source, u1, u2, lx, ly, lz)


@inlined_kernel
def emit(source, u1, u2, u3, u4):
    """Start and unit direction of a photon from four uniform numbers."""
    axes = source.axes
    lx, ly, lz = source_point(source, u1, u2)
    if TUBES and source.layout == TUBE:
        turn = TWO_PI * u2
        mu, phi = cosine_power(u3, 1.0), TWO_PI * u4
        ex, ey, ez = about(0.0, math.sin(turn), math.cos(turn), mu, phi)
    else:
        mu, phi = beam_direction(source, u3, u4)
        s = math.sqrt(max(0.0, 1.0 - mu * mu))
        c, si = cos_sin(phi)
        ex, ey, ez = s * c, s * si, mu
    c = source.centre_m
    return (
        c[0] + lx * axes[0, 0] + ly * axes[1, 0] + lz * axes[2, 0],
        c[1] + lx * axes[0, 1] + ly * axes[1, 1] + lz * axes[2, 1],
        c[2] + lx * axes[0, 2] + ly * axes[1, 2] + lz * axes[2, 2],
        ex * axes[0, 0] + ey * axes[1, 0] + ez * axes[2, 0],
        ex * axes[0, 1] + ey * axes[1, 1] + ez * axes[2, 1],
        ex * axes[0, 2] + ey * axes[1, 2] + ez * axes[2, 2],
    )
