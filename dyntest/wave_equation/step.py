"""Runs of the simulator as machine code: every node of some candidates, one time step after the other.

With half the static soil force ``s = S/2`` and the velocity as the wave ``y = Z1 v``, equations (1) to (5) of the
simulator need only

    p = d − u                                                               (6)
    s = s + h y_old,  s = s + a (p − s),  then cut back to its bounds       (7)
    y = g (p − s)                                                           (8)
    wave sent up:  d − y;  wave sent down:  u + (Z2/Z1) y                   (9)

with ``r = (Z1 + Z2 + D) / (2 Z1)``, ``g = 1/r``, ``h = k·dt / (4 Z1)`` and ``a = h / (r + h)``. What a node sends up
stands where the wave from above stood, and the two arrays of waves change places every step.

Laws whose dashpot depends on the velocity itself use the same lines. Smith's dashpot and the power of the velocity
put ``r + j |s| / …`` in the place of r, from the static force that the last velocity leads to; with a power N the
velocity solves

    A v + Q v^N = W                                                         (10)

and two of Halley's steps on its logarithm find it. Where a dashpot stands beside the spring under a slider (radiation),
the force on the node is what a stuck slider would carry, cut back to the limits and raised with the rate of slip w by
``1 + J w^N``; the soil follows with the velocity ``(R − S)/(c + k dt/2)``. With ``κ = r/(h + c/(2 Z1))`` and
``e = p + κ s`` the node slips where ``e`` leaves its bounds ``(1 + κ) s_limit``. Equation (10) then holds with
``A = r Z1``, ``Q = (1 + κ) J s_limit`` and with W what e is beyond its bound.

A plug of mass m at the toe is one more piece of pile, half a step long, of impedance ``2 m/dt`` and with a free end: it
sends back what came a step before with its sign turned. That keeps energy and momentum whole.

The lines below are plain Python; a run takes what Numba makes of them (`machine_code`).
"""

import math
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from types import FunctionType
from typing import Any

import numpy as np

VISCOUS, FOLLOWS_FORCE, FOLLOWS_POWER, RADIATES = range(4)
"""What a block's dashpots follow: the velocity; the static force, as Smith's; that and a power of the velocity; or the
velocity of slip, with radiation beside the spring."""

TINY = 1e-3
"""Force that keeps logarithms finite [N]."""
SLOWEST = -18.0
"""Logarithm of the least velocity that is told from none [ln m/s]."""
SHOWN_SLIP = 1e-3
"""Slip that shows the static limit of soil whose dashpot carries part of the force [m]; up to it the resistance shown
rises from the spring's to the limit. Our own choice: a movement that is small beside the set of a blow."""
IGNITION, BURNING = 1.0e-3, 3.0e-3
"""Time after impact in which the pressure rises, and in which it then stays [s] (from memory, of hammers that inject
their fuel as a spray at impact)."""
COMPRESSION_EXPONENT, EXPANSION_EXPONENT = 1.35, 1.3
"""Exponents of the adiabats [1]; 1.4 for dry air, less with fuel, heat losses and leaks (from memory)."""
ATMOSPHERE = 101325.0
"""Standard atmosphere [Pa], exact by definition (ISO 2533)."""
LEAST_VOLUME = 0.3
"""Share of the clearance volume to which the gas is squeezed at most [1]; the cushion takes over (our choice)."""
SLOWEST_CLOSING = 1e-6
"""Keeps a quotient finite where ram and helmet meet without closing [m/s]."""


NODES = RATIO, WEIGHT, G = range(3)
"""Rows of what stays as it is at all nodes: Z2/Z1 [1], half the weight [N], and g [1] where there is no soil."""
SOIL = H, R, LOWER, UPPER, PER_Y, UNDAMPED, FACTOR, POWER, LINEAR, CARRIED = range(10)
"""Rows of what stays as it is at the nodes with soil: h and r [1], bounds of s [N], the way dt/Z1 of a unit of y [m/N],
r without a dashpot [1]; of laws the factor j, over Z1 where it is Smith's, the power N, ln A, and the share of a soil
that radiates, h + c/(2 Z1) [1]."""
CURVE = BEND, QUAKE, SCALE, PER_FORCE = range(4)
"""Rows of the curve of first loading ``scale · u / (bend · u + quake)``: [1], [m], [N]; and 2/k [m/N]."""
MOVING = SPRING, WAY, SOIL_Y = range(3)
"""Rows of what moves at the nodes with soil: s [N], the way along the curve half a step ahead [m], and y of the soil
that radiates [N]."""
IMPACT_STEP, TIME_STEP, SUBSTEPS, SUBSTEP, GAIN, IMPEDANCE, PER_RAM, PER_HELMET = range(8)
STIFFNESS, STEEPER, PILE_STIFFNESS, PILE_STEEPER, BORE, STROKE, PEAK, CLEARANCE = range(8, 16)
RAM_VELOCITY, HELMET_VELOCITY, LIFT, SQUEEZED, LINE, PILE_SQUEEZED, PILE_LINE, SINCE, BURNT = range(16, 25)
HAMMER = range(25)
"""Rows of a hammer: the step of its impact and step [s]; substeps in it, their length [s] and the velocity gained by
falling over one [m/s]; impedance of the head [N s/m]; substep over mass of ram and helmet [s/kg]; stiffness of both
cushions when they load and unload [N/m], infinite where there is no pile cushion; of the gas bore [m^2], stroke [m],
pressure [Pa] and clearance [m]. What moves: velocities and lift of the helmet off the head [m/s, m]; how far each
cushion is squeezed [m] and the line of its force [N]; time since ram and helmet met [s], and ln of what is burnt."""


LN_2, LN_2_HIGH, LN_2_LOW = math.log(2.0), 6.93147180369123816490e-01, 1.90821492927058770002e-10
ROUNDS = 6755399441055744.0  # 1.5 · 2⁵²: added to a number, it leaves the nearest whole number in the last bits
MANTISSA, ONE, WHOLE = np.uint64(0x000FFFFFFFFFFFFF), np.uint64(0x3FF0000000000000), np.uint64(0x4330000000000000)
EXPONENT, BIAS = np.uint64(52), np.uint64(1023)


def logarithm(x: float) -> float:
    """Give ln x of a normal number above 0, to 1e-12: unlike the one of the C library it is done four at a time."""
    bits = np.float64(x).view(np.uint64)
    exponent = np.uint64((bits >> EXPONENT) | WHOLE).view(np.float64) - 4503599627370496.0 - 1023.0
    mantissa = np.uint64((bits & MANTISSA) | ONE).view(np.float64)
    high = mantissa > 1.4142135623730951
    mantissa = 0.5 * mantissa if high else mantissa
    exponent = exponent + 1.0 if high else exponent
    t = (mantissa - 1.0) / (mantissa + 1.0)  # ln m = 2 artanh t, and its series
    q = t * t
    series = 1.0 + q * (1 / 3 + q * (1 / 5 + q * (1 / 7 + q * (1 / 9 + q * (1 / 11 + q * (1 / 13))))))
    return exponent * LN_2 + 2.0 * t * series


def exponential(x: float) -> float:
    """Give eˣ for −700 < x < 700, to 1e-12 of it: unlike the one of the C library it is done four at a time."""
    rounded = x / LN_2 + ROUNDS
    whole = rounded - ROUNDS
    r = (x - whole * LN_2_HIGH) - whole * LN_2_LOW
    series = 1 / 5040 + r * (1 / 40320 + r * (1 / 362880 + r * (1 / 3628800)))
    series = 1.0 + r * (1.0 + r * (1 / 2 + r * (1 / 6 + r * (1 / 24 + r * (1 / 120 + r * (1 / 720 + r * series))))))
    return series * np.uint64((np.float64(rounded).view(np.uint64) + BIAS) << EXPONENT).view(np.float64)


def find_velocity(
    linear: np.ndarray, power: np.ndarray, q: np.ndarray, w: np.ndarray, x: np.ndarray, of_q: np.ndarray
) -> None:
    """Put ln v of (10) into x; linear is ln A; q and w of 0 or more [N], w is made its logarithm."""
    for i in range(len(x)):
        w[i] = logarithm(w[i] + TINY)
        of_q[i] = logarithm(q[i] + TINY) - power[i] * linear[i]
        x[i] = max(min(w[i], (w[i] - of_q[i]) / power[i]), linear[i] + 2.0 * SLOWEST)
    # In x = ln(A v) the two parts are eˣ and Q A⁻ᴺ eᴺˣ, and W is their sum: ln(eˣ + Q A⁻ᴺ eᴺˣ) − ln W = 0.
    for _ in range(2):
        for i in range(len(x)):
            one, other = exponential(x[i]), exponential(power[i] * x[i] + of_q[i])
            both = one + other
            slope = (one + power[i] * other) / both
            bend = one * other * (1.0 - power[i]) ** 2 / (both * both)
            miss = logarithm(both) - w[i]
            step = miss * slope / (slope * slope - 0.5 * miss * bend)
            x[i] = max(x[i] - step, linear[i] + 2.0 * SLOWEST)
    for i in range(len(x)):
        x[i] = max(x[i] - linear[i], SLOWEST)


def squeeze(squeezed: float, line: float, movement: float, stiffness: float, steeper: float) -> tuple[float, float]:
    """Press a cushion by a movement [m]: it loads along its stiffness, unloads along a steeper line and never pulls.

    Gives how far it is squeezed [m] and its line [N], which is its force above 0. Once left, it stays as thin as it was
    then: below 0 the line remembers how far away the ram or helmet is.
    """
    squeezed += movement
    return squeezed, min(line + steeper * movement, stiffness * squeezed)


def press_gas(hammer: np.ndarray, c: int, squeezed: float, closing: float) -> float:
    """Give the force of a diesel's gas on ram and helmet [N]: (1) to (4) of the hammer.

    From how far they have moved together since they met [m], and how fast [m/s].
    """
    stroke, clearance, since = hammer[STROKE, c], hammer[CLEARANCE, c], hammer[SINCE, c]
    depth = math.log(clearance - min(squeezed, (1.0 - LEAST_VOLUME) * clearance))
    if since >= 0.0:
        since += hammer[TIME_STEP, c]
    elif squeezed >= 0.0:
        since = min(squeezed / max(closing, SLOWEST_CLOSING), hammer[TIME_STEP, c])  # within this step
    hammer[SINCE, c] = since
    if since > IGNITION + BURNING:
        pressure = math.exp(hammer[BURNT, c] - EXPANSION_EXPONENT * depth)  # (3)
    else:
        whole = math.log(ATMOSPHERE) + COMPRESSION_EXPONENT * math.log(stroke + clearance)
        pressure = math.exp(whole - COMPRESSION_EXPONENT * depth)  # (1)
        if since >= 0.0:
            pressure += min(since / IGNITION, 1.0) * max(hammer[PEAK, c] - pressure, 0.0)  # (2)
            hammer[BURNT, c] = math.log(pressure) + EXPANSION_EXPONENT * depth
    if squeezed <= -stroke:
        return 0.0  # the ports are open
    return max(pressure - ATMOSPHERE, 0.0) * hammer[BORE, c]  # (4)


def strike(hammer: np.ndarray, c: int, step: int, arriving: float) -> float:
    """Take a hammer a step further; give the mean force on the head [N] from the wave that arrives there [N]."""
    if step < hammer[IMPACT_STEP, c]:
        return 0.0
    ram, helmet, lift = hammer[RAM_VELOCITY, c], hammer[HELMET_VELOCITY, c], hammer[LIFT, c]
    squeezed, line, pile_squeezed, pile_line = (
        hammer[SQUEEZED, c],
        hammer[LINE, c],
        hammer[PILE_SQUEEZED, c],
        hammer[PILE_LINE, c],
    )
    dt, gain, z, per_helmet = hammer[SUBSTEP, c], hammer[GAIN, c], hammer[IMPEDANCE, c], hammer[PER_HELMET, c]
    inertia, gas, total = 1.0 / per_helmet, 0.0, 0.0
    if hammer[BORE, c] > 0.0:  # the gas changes by less than a percent within a step
        ahead = squeezed + 0.5 * hammer[TIME_STEP, c] * (ram - helmet)
        gas = press_gas(hammer, c, ahead, ram - helmet)
    cushioned = math.isfinite(hammer[PILE_STIFFNESS, c])
    for _ in range(int(hammer[SUBSTEPS, c])):
        squeezed, line = squeeze(squeezed, line, (ram - helmet) * dt, hammer[STIFFNESS, c], hammer[STEEPER, c])
        above = max(line, 0.0) + gas
        ram += gain - above * hammer[PER_RAM, c]
        if cushioned:  # its force F moves the head by v = (F − 2u)/Z
            movement = (helmet - (max(pile_line, 0.0) - 2.0 * arriving) / z) * dt
            pile_squeezed, pile_line = squeeze(
                pile_squeezed, pile_line, movement, hammer[PILE_STIFFNESS, c], hammer[PILE_STEEPER, c]
            )
            force = max(pile_line, 0.0)
            helmet += (above - force) * per_helmet + gain
        else:  # helmet and head move together while they press, and part when they would pull
            free = helmet + above * per_helmet + gain
            together = (free * inertia - 2.0 * arriving) / (inertia + z)
            force = together * z + 2.0 * arriving
            if force > 0.0 and lift <= 0.0:
                helmet = together
            else:
                lift, helmet, force = max(lift - (2.0 * arriving / z + free) * dt, 0.0), free, 0.0
        total += force
    hammer[RAM_VELOCITY, c], hammer[HELMET_VELOCITY, c], hammer[LIFT, c] = ram, helmet, lift
    hammer[SQUEEZED, c], hammer[LINE, c] = squeezed, line
    hammer[PILE_SQUEEZED, c], hammer[PILE_LINE, c] = pile_squeezed, pile_line
    return total / hammer[SUBSTEPS, c]


def on_curve(curve: np.ndarray, i: int, way: float) -> float:
    """Give the force on the curve of first loading after a way along it [m]."""
    u = max(way, 0.0)
    return curve[SCALE, i] * u / (curve[BEND, i] * u + curve[QUAKE, i])


def follow(
    soil: np.ndarray,
    curve: np.ndarray,
    moving: np.ndarray,
    p: np.ndarray,
    y: np.ndarray,
    powered: bool,
    a: np.ndarray,
    g: np.ndarray,
    work: np.ndarray,
) -> None:
    """Set a and g of dashpots that follow the static force to which the last velocity would lead."""
    h, r, curved = soil[H], soil[R], curve.shape[1] > 0
    damping, push, x, of_q = work[0], work[1], work[2], work[3]
    for i in range(len(p)):
        rise = h[i] * y[i]
        static = moving[SPRING, i] + 2.0 * rise
        if curved:
            static = min(static, on_curve(curve, i, moving[WAY, i] + rise * curve[PER_FORCE, i]))
        static = max(min(static, soil[UPPER, i]), soil[LOWER, i])
        damping[i], push[i] = abs(static) * soil[FACTOR, i], abs(p[i] - static)
    if powered:
        find_velocity(soil[LINEAR], soil[POWER], damping, push, x, of_q)
        for i in range(len(p)):  # j |s| v^N / y, where the viscous part is A v / y
            damping[i] *= exponential((soil[POWER, i] - 1.0) * x[i] - soil[LINEAR, i]) * r[i]
    for i in range(len(p)):
        whole = damping[i] + r[i]
        a[i], g[i] = h[i] / (whole + h[i]), 1.0 / whole


def move_springs(
    soil: np.ndarray,
    curve: np.ndarray,
    moving: np.ndarray,
    p: np.ndarray,
    y: np.ndarray,
    a: np.ndarray,
    g: np.ndarray,
) -> None:
    """Take springs, with the dashpots beside them, and their nodes a step further."""
    spring, way, h, upper, lower = moving[SPRING], moving[WAY], soil[H], soil[UPPER], soil[LOWER]
    curved = curve.shape[1] > 0
    for i in range(len(p)):
        s = spring[i] + h[i] * y[i]
        rise = a[i] * (p[i] - s)
        s += rise  # (7)
        if curved:
            s = min(s, on_curve(curve, i, way[i] + rise * curve[PER_FORCE, i]))
        s = max(min(s, upper[i]), lower[i])
        spring[i], y[i] = s, g[i] * (p[i] - s)  # (8)
    if curved:
        for i in range(len(p)):
            way[i] += y[i] * soil[PER_Y, i]


def move_radiating(
    soil: np.ndarray, moving: np.ndarray, p: np.ndarray, y: np.ndarray, gap: np.ndarray, work: np.ndarray
) -> None:
    """Take springs with a dashpot beside them, both under a slider, and their nodes a step further.

    Row 0 of `work` then has half the force on every node [N].
    """
    spring, soil_y, h, r, carried = moving[SPRING], moving[SOIL_Y], soil[H], soil[R], soil[CARRIED]
    force, push, x, of_q, within, beyond = work[0], work[1], work[2], work[3], work[4], work[5]
    toe = len(p) - len(gap)
    for i in range(len(p)):
        spring[i] += h[i] * soil_y[i]
        kappa = r[i] / carried[i] if carried[i] > 0.0 else 0.0
        e = p[i] + kappa * spring[i]
        within[i] = max(min(e, (1.0 + kappa) * soil[UPPER, i]), (1.0 + kappa) * soil[LOWER, i])
        beyond[i] = e - within[i]
        force[i], push[i] = abs(within[i]) * soil[FACTOR, i], abs(beyond[i])
    find_velocity(soil[LINEAR], soil[POWER], force, push, x, of_q)
    for i in range(len(p)):
        kappa = r[i] / carried[i] if carried[i] > 0.0 else 0.0
        more = force[i] * exponential(soil[POWER, i] * x[i])
        more = more if beyond[i] > 0.0 else (-more if beyond[i] < 0.0 else 0.0)
        force[i] = (within[i] + more) / (1.0 + kappa)
    for b in range(len(gap)):
        force[toe + b] = max(force[toe + b], 0.0) if gap[b] <= 0.0 else 0.0
    for i in range(len(p)):
        y[i] = (p[i] - force[i]) / r[i]
        soil_y[i] = (force[i] - spring[i]) / carried[i] if carried[i] > 0.0 else 0.0
        spring[i] += h[i] * soil_y[i]
    for b in range(len(gap)):  # the soil under a toe that lifted off rises slower than the toe
        left = max(gap[b] + soil_y[toe + b] - y[toe + b], 0.0)
        gap[b] = left if force[toe + b] <= 0.0 else 0.0


def march(
    law: int,
    nodes: np.ndarray,
    soil: np.ndarray,
    curve: np.ndarray,
    waves: np.ndarray,
    y: np.ndarray,
    moving: np.ndarray,
    gap: np.ndarray,
    trace: np.ndarray,
    reflected: float,
    hammer: np.ndarray,
    gauge: int,
    seen: np.ndarray,
    bounds: np.ndarray,
    bound_steps: np.ndarray,
    peaks: np.ndarray,
    energy: np.ndarray,
) -> None:
    """Take candidates of one kind of soil through a run: values of node after node, of all candidates each.

    `waves` arrive at the nodes from above, after a row for those of the upper end from below; `gap` is under a toe of
    soil that radiates, as y [N]. The upper end sends down its trace, shape (n_steps, candidates) [N], and a share of
    what arrives there, or what a hammer gives, where there is one. The gauges are at a node, 0 the upper end. What is
    seen: waves up and down at the gauges and y of the toe, shape (3, n_steps, candidates) [N]; bounds of the force
    above the nodes [N] and their steps, the greatest s [N] and slip [m], and work [J], empty where not asked for.
    """
    n, of_soil, candidates = len(y), moving.shape[1], len(gap)
    first, toe = n - of_soil, of_soil - candidates
    struck, radiates, follows = hammer.shape[1] > 0, law == RADIATES, law in (FOLLOWS_FORCE, FOLLOWS_POWER)
    above, below = waves[0], waves[1]
    p, work, reached = np.empty(n), np.empty((6, of_soil)), np.empty(candidates)
    soil_p, soil_y, h, spring = p[first:], y[first:], soil[H], moving[SPRING]
    a, g = h / (soil[R] + h), 1.0 / soil[R]
    for step in range(seen.shape[1]):
        for b in range(candidates):
            seen[0, step, b] = below[gauge * candidates + b]
            arriving = below[b]
            sent = strike(hammer, b, step, arriving) - arriving if struck else trace[step, b] + reflected * arriving
            seen[1, step, b] = sent if gauge == 0 else above[(gauge - 1) * candidates + b]
            below[b] = sent  # its place is free now, and will be that of the first node's wave from above
        from_below = below[candidates:]
        for i in range(n):
            p[i] = above[i] - from_below[i] + nodes[WEIGHT, i]  # (6)
        for i in range(first):
            y[i] = nodes[G, i] * p[i]  # (8)
        for b in range(candidates):
            reached[b] = spring[toe + b] + h[toe + b] * soil_y[toe + b]
        if radiates:
            move_radiating(soil, moving, soil_p, soil_y, gap, work)
        else:
            if follows:
                follow(soil, curve, moving, soil_p, soil_y, law == FOLLOWS_POWER, a, g, work)
            move_springs(soil, curve, moving, soil_p, soil_y, a, g)
        if len(energy):
            for i in range(of_soil):  # what spring and dashpot, R = S + D v, take up
                half = work[0, i] if radiates else (1.0 / g[i] - soil[UNDAMPED, i]) * soil_y[i] + spring[i]
                energy[i % candidates] += 2.0 * half * soil_y[i] * soil[PER_Y, i]
        if not radiates:
            # A toe that lifted off meets the soil again where it left it: its spring remembers, though it pulls at
            # nothing. Soil that radiates keeps its gap by itself.
            for b in range(candidates):
                spring[toe + b] = min(spring[toe + b], reached[b] + h[toe + b] * soil_y[toe + b])
        for b in range(candidates):
            seen[2, step, b] = y[n - candidates + b]
        for i in range(bounds.shape[1]):
            force = 2.0 * above[i] - y[i]  # just above a node: d + (d − y)
            if force > bounds[0, i]:
                bounds[0, i], bound_steps[0, i] = force, step
            if force < bounds[1, i]:
                bounds[1, i], bound_steps[1, i] = force, step
        for i in range(peaks.shape[1]):
            peaks[0, i] = max(peaks[0, i], spring[i])
            if radiates and work[0, i] >= 0.999 * soil[UPPER, i]:  # a toe on its way through a gap does not slip
                peaks[1, i] += max(soil_y[i] - moving[SOIL_Y, i], 0.0) * soil[PER_Y, i]
        for i in range(n):  # (9)
            above[i] -= y[i]
            from_below[i] += nodes[RATIO, i] * y[i]
        for b in range(candidates):
            above[n + b] = -below[n + b]  # a plug sends back what it was sent
        above, below = below, above
    if seen.shape[1] % 2:  # what arrives from above stands where it is looked for
        ended = above.copy()
        waves[1] = below
        waves[0] = ended


INSIDE = (
    logarithm,
    exponential,
    find_velocity,
    squeeze,
    press_gas,
    strike,
    on_curve,
    follow,
    move_springs,
    move_radiating,
)
"""What `march` calls, each after what it calls itself."""


@cache
def machine_code() -> Callable[..., None]:
    """Give `march` as machine code.

    It is compiled at its first call after an installation, and kept beside this file or in the user's folder of caches.
    This file alone tells Numba whether what it kept is still true, so all that `march` calls and reads stands here.
    """
    numba = import_module("numba")  # takes half a second, so only where something is simulated
    names: dict[str, Any] = dict(globals())
    options = {"nogil": True, "error_model": "numpy"}
    for function in INSIDE:
        names[function.__name__] = numba.njit(FunctionType(function.__code__, names), **options)
    plain = FunctionType(march.__code__, names)
    try:
        compiled = numba.njit(plain, cache=True, **options)
    except RuntimeError:  # neither folder may be written to
        compiled = numba.njit(plain, **options)

    def run(*arguments: Any) -> None:
        try:
            compiled(*arguments)
        except Exception:  # a full disk, on which it cannot be kept, or what was kept is damaged
            if compiled.stats.cache_path is not None:
                for kept in Path(compiled.stats.cache_path).glob(f"{Path(__file__).stem}.{march.__name__}-*"):
                    kept.unlink(missing_ok=True)
            compiled(*arguments)

    return run
