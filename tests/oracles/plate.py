"""Textbook forms beside those of the program, which no command asks for: books and program are checked by them."""

from __future__ import annotations

import math

import numpy as np

from layup.errors import RangeError
from layup.laminate.plate import Load, Response, SupportedPlate, Values, mode_stiffness
from layup.laminate.plate_edges import Floats, RitzResponse, _Side


def plate_rigidity(modulus: Values, thickness: Values, nu: Values) -> Values:
    """D = E t^3/(12 (1 - nu^2)) of a plain sheet.

    Args:
        modulus: [Pa]
        thickness: [m]
        nu: [-]
    Returns:
        D. [N m]
    Raises:
        RangeError: modulus or thickness not positive, |nu| not below 1.
    Source: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959 (from memory).
    """
    if not np.all((np.asarray(modulus) > 0) & (np.asarray(thickness) > 0) & (np.abs(nu) < 1)):
        raise RangeError(f"A sheet needs a positive modulus and thickness, not {modulus} Pa, {thickness} m, nu {nu}.")
    return modulus * thickness**3 / (12 * (1 - nu * nu))


def supported_sag(
    a: float, b: float, d11: Values, d12: Values, d22: Values, d66: Values, pressure: Values, terms: int = 9
) -> Values:
    """Deflection in the middle of a simply supported plate under pressure. Plain arithmetic: arrays and
    numba.

    For symmetric stacks without D16, D26. With 9 odd terms each way the middle is right to 1e-4 for sides
    up to 1:3. With D16 and D26 (plies off the axes) the true plate gives more: by 1 % for sixteen ±45 plies,
    10 % for [45/0/-45/90]s, 25 % for [45/-45]s. Take `plate_edges.RitzPlate` for those.

    Args:
        a: [m]
        b: [m]
        d11: [N m]
        d12: [N m]
        d22: [N m]
        d66: [N m]
        pressure: [Pa]
        terms: Odd terms each way. [-]
    Returns:
        Deflection. [m]
    Source: Navier's sum, Timoshenko & Woinowsky-Krieger 1959 ch. 5, Reddy 2004 (from memory).
    """
    total = 0.0 * d11
    for i in range(terms):
        for j in range(terms):
            m = 2 * i + 1
            n = 2 * j + 1
            sign = 1.0 - 2.0 * ((i + j) % 2)
            load = 16.0 * sign / (9.869604401089358 * m * n)
            total = total + load / mode_stiffness(m=m, n=n, a=a, b=b, d11=d11, d12=d12, d22=d22, d66=d66)
    return pressure * total


def clamped_sag_estimate(
    a: float, b: float, d11: Values, d12: Values, d22: Values, d66: Values, pressure: Values
) -> Values:
    """Deflection in the middle of a plate clamped all round, by one term: (7/2048) q a^4/(D11 + 4/7 (D12 +
    2 D66) s^2 + D22 s^4), s = a/b. Plain arithmetic.

    High (cautious) by 5 % for a square isotropic plate, by 12 % at 1:2 and by 31 % for a long strip; but up
    to 8 % low where D16 and D26 are large ([45/-45]s). `plate_edges.RitzPlate` is exact.

    Args:
        a: [m]
        b: [m]
        d11: [N m]
        d12: [N m]
        d22: [N m]
        d66: [N m]
        pressure: [Pa]
    Returns:
        Deflection. [m]
    Source: one-term Ritz with (1 - x^2)^2 (1 - y^2)^2, own evaluation; Reddy 2004 prints 0.00342 (from
    memory).
    """
    s2 = (a / b) ** 2
    return 7.0 / 2048.0 * pressure * a**4 / (d11 + 4.0 / 7.0 * (d12 + 2.0 * d66) * s2 + d22 * s2 * s2)


def supported_response(plate: SupportedPlate, load: Load, x: float, y: float, terms: int = 60) -> Response:
    """Deflection, curvature and moments at a point of a simply supported plate, by Navier's sum.

    Under a point load the moments at that point grow without end as terms are added: give the hand its patch.

    Args:
        plate: [m, N m, N/m]
        load: [Pa, N, m]
        x: [m]
        y: [m]
        terms: Half-waves each way. [-]
    Returns:
        The response. [m, 1/m, N]
    Raises:
        RangeError: a patch off the plate.
    Source: Timoshenko & Woinowsky-Krieger 1959 ch. 5; with shear, Reddy 2004 (from memory).
    """
    a, b = plate.a, plate.b
    cx, cy = load.middle(a, b)
    w: Values = 0.0
    kx: Values = 0.0
    ky: Values = 0.0
    kxy: Values = 0.0
    waves = np.arange(terms + 1)
    share_x = np.sin(waves * np.pi * cx / a) * np.sinc(waves * load.patch_x / (2 * a))
    share_y = np.sin(waves * np.pi * cy / b) * np.sinc(waves * load.patch_y / (2 * b))
    spread = 4 * load.force / (a * b) * np.outer(share_x, share_y)
    sines = np.outer(np.sin(waves * np.pi * x / a), np.sin(waves * np.pi * y / b)).tolist()
    cosines = np.outer(np.cos(waves * np.pi * x / a), np.cos(waves * np.pi * y / b)).tolist()
    force = np.where(np.abs(spread) > 1e-14 * np.abs(spread).max(), spread, 0.0).tolist()
    for m in range(1, terms + 1):
        for n in range(1, terms + 1):
            q = force[m][n] + (load.half_sine if m == n == 1 else 0.0)
            if m % 2 and n % 2:
                q += 16 * load.pressure / (math.pi**2 * m * n)
            if q == 0:
                continue
            stiffness, turn_x, turn_y = plate.mode(m, n)
            p, r = m * math.pi / a, n * math.pi / b
            wave = sines[m][n]
            size = q / stiffness
            w = w + size * wave
            kx = kx - size * p * turn_x * wave
            ky = ky - size * r * turn_y * wave
            kxy = kxy + size * (r * turn_x + p * turn_y) * cosines[m][n]
    moments = (plate.d11 * kx + plate.d12 * ky, plate.d12 * kx + plate.d22 * ky, plate.d66 * kxy)
    curvature = np.stack(np.broadcast_arrays(kx, ky, kxy), axis=-1)
    return Response(w, curvature, np.stack(np.broadcast_arrays(*moments), axis=-1))


def supported_frequency(plate: SupportedPlate, areal_weight: Values, m: int = 1, n: int = 1) -> Values:
    """Own frequency of the sine mode m, n; the lowest is 1, 1.

    Args:
        plate: [m, N m, N/m]
        areal_weight: Mass per area. [kg/m^2]
        m: Half-waves along x. [-]
        n: Half-waves along y. [-]
    Returns:
        Frequency. [Hz]
    Source: Leissa, J. Sound Vib. 31 (1973) 257 (from memory).
    """
    return np.asarray(np.sqrt(plate.mode(m, n)[0] / areal_weight) / (2 * np.pi))


def supported_buckling(plate: SupportedPlate, nx: float, ny: float = 0.0, waves: int = 20) -> Values:
    """Factor on the compressions nx, ny at which a simply supported plate buckles.

    Args:
        plate: [m, N m, N/m]
        nx: Compression along x, positive; tension negative. [N/m]
        ny: Compression along y. [N/m]
        waves: Half-waves tried each way. [-]
    Returns:
        Smallest factor; infinite if nothing is in compression. [-]
    Source: Timoshenko & Gere, Theory of Elastic Stability, 2nd ed. 1961 (from memory).
    """
    best: Values = np.inf
    for m in range(1, waves + 1):
        for n in range(1, waves + 1):
            push = nx * (m * np.pi / plate.a) ** 2 + ny * (n * np.pi / plate.b) ** 2
            if push > 0:
                best = np.minimum(best, plate.mode(m, n)[0] / push)
    return best


def circular_sag(
    radius: Values, rigidity: Values, nu: Values, edge: str, pressure: Values = 0.0, force: Values = 0.0
) -> Values:
    """Deflection in the middle of a round plate under pressure and a force in the middle.

    Clamped: q a^4/(64 D) + P a^2/(16 pi D). Supported: the first times (5 + nu)/(1 + nu), the second (3 +
    nu)/(1 + nu).

    Args:
        radius: [m]
        rigidity: D. [N m]
        nu: [-]
        edge: "S" simply supported or "C" clamped. [-]
        pressure: [Pa]
        force: [N]
    Returns:
        Deflection. [m]
    Raises:
        RangeError: another edge, or a radius or rigidity not positive.
    Source: Timoshenko & Woinowsky-Krieger 1959 ch. 3 (closed forms).
    """
    if edge not in ("S", "C"):
        raise RangeError(f'Edge "{edge}" of a round plate: write "S" (supported) or "C" (clamped).')
    if not np.all((np.asarray(radius) > 0) & (np.asarray(rigidity) > 0)):
        raise RangeError(f"A round plate needs a positive radius and rigidity, not {radius} m and {rigidity} N m.")
    by_pressure = (5 + nu) / (1 + nu) if edge == "S" else 1.0
    by_force = (3 + nu) / (1 + nu) if edge == "S" else 1.0
    return (by_pressure * pressure * radius**4 / 64 + by_force * force * radius**2 / (16 * np.pi)) / rigidity


def circular_frequency(radius: float, rigidity: float, nu: float, edge: str, areal_weight: float) -> float:
    """Lowest natural frequency of a round plate: the first root of its Bessel equation.

    Clamped J0 I1 + J1 I0 = 0; supported J1/J0 + I1/I0 = 2 k/(1 - nu), at k = sqrt(omega a^2 sqrt(m/D)).

    Args:
        radius: [m]
        rigidity: D. [N m]
        nu: [-]
        edge: "S" simply supported or "C" clamped. [-]
        areal_weight: Mass per area m. [kg/m^2]
    Returns:
        Frequency. [Hz]
    Raises:
        RangeError: another edge, or an areal weight not positive.
    Source: Leissa, Vibration of Plates, NASA SP-160, 1969, ch. 2 (equations; from memory). Its printed
    4.977 for the supported plate is not a root for nu = 0.3; 4.935 is.
    """
    if edge not in ("S", "C"):
        raise RangeError(f'Edge "{edge}" of a round plate: write "S" (supported) or "C" (clamped).')
    if not (areal_weight > 0 and radius > 0 and rigidity > 0):
        raise RangeError("A round plate needs a positive radius, rigidity and areal weight.")
    turn = (np.arange(64) + 0.5) * np.pi / 64  # means over half a turn: Bessel's integrals, exact to rounding

    def equation(k: float) -> float:
        j0, i0 = np.mean(np.cos(k * np.sin(turn))), np.mean(np.exp(k * np.cos(turn)))
        j1, i1 = np.mean(np.cos(turn - k * np.sin(turn))), np.mean(np.cos(turn) * np.exp(k * np.cos(turn)))
        if edge == "C":
            return float(j0 * i1 + j1 * i0)
        return float(j0 * i1 + j1 * i0 - 2 * k / (1 - nu) * j0 * i0)

    low, high = (2.5, 4.0) if edge == "C" else (1.0, 2.4)
    sign = equation(low)
    for _ in range(60):
        middle = (low + high) / 2
        if equation(middle) * sign > 0:
            low = middle
        else:
            high = middle
    return float(low**2 / radius**2 * np.sqrt(rigidity / areal_weight) / (2 * np.pi))


def edge_moment(bent: RitzResponse, edge: int, along: float) -> float:
    """Moment across a clamped edge, from the work it does on a turn of that edge.

    Under a local load it is right to 0.2 % where the curvature at the edge is still 10 to 20 % off.

    Args:
        edge: 0 for x=0, 1 for y=0, 2 for x=a, 3 for y=b. [-]
        along: Place along that edge. [m]
    Returns:
        Moment per width, negative where the edge hogs. [N]
    Raises:
        RangeError: the edge is not clamped.
    Source: consistent reaction of the Ritz solution, own derivation.
    """
    plate = bent.plate
    if plate.edges[edge] != "C":
        raise RangeError(f'Edge {edge} of "{plate.edges}" is not clamped: it has no edge moment.')
    across, run = plate._sides if edge % 2 == 0 else plate._sides[::-1]
    start = edge < 2
    (s, weight), (patch_x, patch_y) = across.places(), plate._patch(bent.load)
    d = plate.d if edge % 2 == 0 else plate.d[np.ix_([1, 0, 2], [1, 0, 2])]
    amounts = bent.amounts if edge % 2 == 0 else bent.amounts.T
    mixed = {(i, j): (_lift(across, start, s, i) * weight) @ across._tables[j].T for i in range(3) for j in range(3)}

    def term(i: int, j: int, k: int, m: int) -> Floats:
        """Turn's derivatives i (across), k (along) against the solution's j, m."""
        return np.asarray(run.product(k, m) @ (mixed[i, j] @ amounts))

    inner = d[0, 0] * term(2, 2, 0, 0) + d[1, 1] * term(0, 0, 2, 2) + 4 * d[2, 2] * term(1, 1, 1, 1)
    inner += d[0, 1] * (term(2, 0, 0, 2) + term(0, 2, 2, 0))
    inner += 2 * d[0, 2] * (term(2, 1, 0, 1) + term(1, 2, 1, 0))
    inner += 2 * d[1, 2] * (term(0, 1, 2, 1) + term(1, 0, 1, 2))
    places = run.places()[0]
    own, other = (patch_x, patch_y) if edge % 2 == 0 else (patch_y, patch_x)
    turn = _lift(across, start, s, 0)[None, :], np.atleast_1d(_lift(across, start, own[0], 0) @ own[1])
    rest = run.at(places), run.at(other[0]) @ other[1]
    if edge % 2 == 0:
        work = plate._load(bent.load, turn[0], rest[0], turn[1], rest[1]).ravel()
    else:
        work = plate._load(bent.load, rest[0], turn[0], rest[1], turn[1]).ravel()
    reaction = (inner - work) * (1.0 if start else -1.0)
    return float(reaction @ run.at(along))


def _lift(side: _Side, at_start: bool, s: Floats, order: int) -> Floats:
    """A function with unit slope (in s) at one clamped end, zero value there, and value and slope zero
    at the other.
    """
    z = s if at_start else side.length - s
    c = np.array([0.0, 1.0, -2.0 / side.length, 1.0 / side.length**2])
    values = np.polynomial.polynomial.polyval(z, np.polynomial.polynomial.polyder(c, order))
    return np.asarray(values if at_start else -values * (-1.0) ** order)
