"""The walk of many draws at once, step by step against the same equations written down densely for one draw."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from partkin.fit.arrays import Pairs
from partkin.fit.many import Run, Slots

DRAWS = 4
MIRROR = np.diag([1.0, -1.0, -1.0])


SLOTS = {"none": (0.0, 0.0), "host": (1.0, 0.0), "donor": (0.0, 1.0), "both": (1.0, 1.0)}


def some_run(seed: int, n: int = 4, slots: str = "both") -> tuple[Run, np.ndarray, np.ndarray]:
    """Draws of a pattern with slots of the host, of the donor, of both and of neither; and its points p, q."""
    rng = np.random.default_rng([seed, n, len(slots)])
    angle = rng.uniform(-3, 3, (DRAWS, 1))
    at = rng.uniform(-100, 100, (n, 2)) @ [1, 1j]
    p = at - at.mean() + rng.normal(0, 0.4, (DRAWS, n, 2)) @ [1, 1j]
    q = (at - at.mean()) * np.exp(1j * angle) + rng.normal(0, 0.4, (DRAWS, n, 2)) @ [1, 1j]
    travel = np.array([[0.0, 1.5, 0.0, 2.0], [0.0, 0.0, 1.0, 0.7]])[:, :n]
    travel *= np.array(SLOTS[slots])[:, None]
    nominal = Pairs.plain(
        np.zeros((n, 2)), np.zeros((n, 2)), 0.0, s_h=travel[0], angle_h_deg=rng.uniform(0, 180, n), s_d=travel[1],
        angle_d_deg=rng.uniform(0, 180, n),
    )  # fmt: skip
    rho = rng.uniform(0.2, 0.8, (n, DRAWS))
    return Run(p.T.real, p.T.imag, q.T.real, q.T.imag, rho, Slots(nominal), np.arange(DRAWS)), p, q


def laid(run: Run, p: np.ndarray, q: np.ndarray, k: int) -> tuple[np.ndarray, np.ndarray]:
    """Of draw k: the donor's touching points turned, and what is left between them and the host's, (n,) complex."""
    slots, first = run.slots, len(run.slots.host)
    touch, held = p[k].copy(), q[k].copy()
    touch[slots.donor] += run.slid[first:, k] * (slots.u_d[slots.donor] @ [1, 1j])
    held[slots.host] += run.slid[:first, k] * (slots.u_h[slots.host] @ [1, 1j])
    lever = complex(run.c[k], run.s[k]) * touch
    return lever, lever + complex(run.tx[k], run.ty[k]) - held


def stands(run: Run, k: int) -> SimpleNamespace:
    """Slacks and forces of draw k as vectors."""
    of = {name: np.array(getattr(run, name)[..., k]) for name in ("s0", "sx", "sy", "y0", "yx", "yy")}
    return SimpleNamespace(
        s=np.stack([of["s0"], of["sx"], of["sy"]], axis=1), y=np.stack([of["y0"], of["yx"], of["yy"]], axis=1),
        p=run.sp[:, k].copy(), m=run.sm[:, k].copy(), at_p=run.yp[:, k].copy(), at_m=run.ym[:, k].copy(),
        place=np.array([run.tx[k], run.ty[k], run.z[k]]), turn=complex(run.c[k], run.s[k]), slid=run.slid[:, k].copy(),
    )  # fmt: skip


@pytest.mark.parametrize("slots", SLOTS)
@pytest.mark.parametrize("seed", range(2))
def test_it_sets_out_centred_and_strictly_inside(seed: int, slots: str) -> None:
    run, p, q = some_run(seed, slots=slots)
    run.start()
    assert run.size == pytest.approx(np.sqrt((np.abs(p) ** 2).mean()))
    for k in range(DRAWS):
        lever, gap = laid(run, p, q, k)
        assert run.lx[:, k] + 1j * run.ly[:, k] == pytest.approx(lever)
        assert run.rx[:, k] + 1j * run.ry[:, k] == pytest.approx(gap)
        # The turn of least squares: no other brings the points nearer.
        assert np.angle((np.conj(p[k]) * q[k]).sum() / complex(run.c[k], run.s[k])) == pytest.approx(0.0, abs=1e-12)
        assert abs(complex(run.c[k], run.s[k])) == pytest.approx(1.0) and run.tx[k] == run.ty[k] == 0.0
        now = stands(run, k)
        # As far above the worst excess as a third of its height over the tightest play, and at least a little.
        worst, floor = float((np.abs(gap) - run.rho[:, k]).max()), -float(run.rho[:, k].min())
        assert run.z[k] == pytest.approx(worst + max(0.05, 0.3 * (worst - floor)))
        assert now.s[:, 0] == pytest.approx(run.rho[:, k] + run.z[k])
        assert now.s[:, 1] + 1j * now.s[:, 2] == pytest.approx(gap)
        # Every slack and its force have the same product, and the forces carry z.
        mu = (now.s * now.y).sum(axis=1)
        assert mu == pytest.approx(mu[0]) and now.y[:, 0].sum() == pytest.approx(1.0)
        assert now.s[:, :1] * now.y[:, 1:] == pytest.approx(-now.y[:, :1] * now.s[:, 1:])
        assert now.p * now.at_p == pytest.approx(mu[0]) and now.m * now.at_m == pytest.approx(mu[0])
        half = run.slots.half[:, 0]
        assert now.p == pytest.approx(half - now.slid) and now.m == pytest.approx(half + now.slid)
        assert (np.abs(now.slid) <= 0.9 * half + 1e-12).all()


def test_at_the_start_a_slot_takes_what_lies_along_it_up_to_nine_tenths() -> None:
    """Along 30 degrees 0.9 x 0.8 of the 1.2 that it wants; along 120 degrees of the donor all of the 0.4."""
    angles = np.radians([30.0, 120.0])
    q = np.array([0.0, 100.0, 50.0], dtype=complex)
    p = q.copy()
    p[0] += 1.2 * np.exp(1j * angles[0])
    p[1] += 0.4 * np.exp(1j * angles[1])
    nominal = Pairs.plain(
        np.zeros((3, 2)), np.zeros((3, 2)), 0.0, s_h=[0.8, 0, 0], angle_h_deg=30.0, s_d=[0, 1.0, 0], angle_d_deg=120.0
    )
    args = (p.real, p.imag, q.real, q.imag, np.full(3, 0.5))
    run = Run(*(a[:, None] for a in args), Slots(nominal), np.arange(1))
    run.start()
    turned = complex(run.c[0], run.s[0])
    assert run.slid[0, 0] == pytest.approx(0.72)
    along = np.conj(turned * np.exp(1j * angles[1])) * (turned * p[1] - q[1])
    assert run.slid[1, 0] == pytest.approx(-float(along.real))


def test_where_all_stand_in_one_place_it_sets_out_unturned() -> None:
    at = np.zeros((2, 1))
    run = Run(at, at, at, at, np.full((2, 1), 0.3), Slots(Pairs.plain([(0, 0)] * 2, [(0, 0)] * 2, 0.3)), np.arange(1))
    run.start()
    assert (run.c[0], run.s[0], run.z[0]) == (1.0, 0.0, pytest.approx(-0.25))


def power(x: np.ndarray, of: float) -> np.ndarray:
    """A power of a vector (x0, x1, x2) inside the cone, by its two eigenvalues (Jordan algebra of the cone)."""
    length = float(np.linalg.norm(x[1:]))
    way = x[1:] / length if length else np.array([1.0, 0.0])
    more, less = (x[0] + length) ** of, (x[0] - length) ** of
    return np.concatenate([[(more + less) / 2], (more - less) / 2 * way])


def square_map(x: np.ndarray) -> np.ndarray:
    """The quadratic representation 2 x x' - det(x) J."""
    return 2 * np.outer(x, x) - (x[0] ** 2 - x[1] ** 2 - x[2] ** 2) * MIRROR


def longest(now: SimpleNamespace, by: SimpleNamespace) -> float:
    """How much of a step leaves every slack and force inside: by halving."""

    def inside(part: float) -> bool:
        cones = [now.s + part * by.s, now.y + part * by.y]
        lines = [getattr(now, name) + part * getattr(by, name) for name in ("p", "m", "at_p", "at_m")]
        return all((c[:, 0] > np.hypot(c[:, 1], c[:, 2])).all() for c in cones) and all((x > 0).all() for x in lines)

    good, bad = 0.0, 1e3
    for _ in range(200):
        middle = (good + bad) / 2
        good, bad = (middle, bad) if inside(middle) else (good, middle)
    return good


def densely(run: Run, p: np.ndarray, q: np.ndarray, k: int) -> SimpleNamespace:
    """One step of draw k: Nesterov and Todd's scaling, all unknowns (turn, shift, z, slots) in one set of equations.

    The scaling is got as in L. Tuncel and others from the point w that maps forces to slacks; the code has it from the
    formulas of CVXOPT.
    """
    now, n, slots = stands(run, k), run.n, run.slots
    lever, gap = laid(run, p, q, k)
    first, count = len(slots.host), len(slots.of)
    slope = np.zeros((n, 3, 4 + count))
    slope[:, 0, 3] = slope[:, 1, 1] = slope[:, 2, 2] = 1.0
    slope[:, 1, 0], slope[:, 2, 0] = -lever.imag / run.size, lever.real / run.size
    for i, pair in enumerate(slots.of):
        way = -(slots.u_h[pair] @ [1, 1j]) if i < first else now.turn * (slots.u_d[pair] @ [1, 1j])
        slope[pair, 1:, 4 + i] = way.real, way.imag
    lines = np.eye(count, 4 + count, 4)
    mu = 0.1 * ((now.s * now.y).sum() + now.p @ now.at_p + now.m @ now.at_m) / (n + 2 * count)
    miss = np.stack([run.rho[:, k] + now.place[2], gap.real, gap.imag], axis=1) - now.s
    left, right = np.zeros((4 + count, 4 + count)), -np.eye(4 + count)[3]
    scales, wants = [], []
    for i in range(n):
        root = square_map(power(now.s[i], 0.5))
        # w with P(w) y = s; its inverse's representation takes slacks to forces.
        w = square_map(power(now.s[i], 0.5)) @ power(root @ now.y[i], -0.5)
        scale = np.linalg.inv(square_map(w))
        assert scale @ now.s[i] == pytest.approx(now.y[i])
        want = mu * power(now.s[i], -1.0)
        left += slope[i].T @ scale @ slope[i]
        right += slope[i].T @ (want - scale @ miss[i])
        scales.append(scale)
        wants.append(want)
    left += lines.T @ np.diag(now.at_p / now.p + now.at_m / now.m) @ lines
    right += lines.T @ (mu / now.m - mu / now.p)
    # What a turn bends is added where the slots are taken out, and takes no more than four fifths of it away.
    some = np.arange(4 + count) >= 4
    out = left[np.ix_(~some, some)] @ np.linalg.solve(left[np.ix_(some, some)], left[np.ix_(some, ~some)])
    still = left[0, 0] - out[0, 0]
    bend = float((now.y[:, 1] * lever.real + now.y[:, 2] * lever.imag).sum()) / run.size**2
    left[0, 0] += max(bend, -0.8 * still)
    step = np.linalg.solve(left, right)
    by = SimpleNamespace(s=miss + slope @ step, p=-step[4:], m=step[4:])
    by.y = np.array([want - scale @ d for want, scale, d in zip(wants, scales, by.s, strict=True)]) - now.y
    by.at_p = (mu - now.at_p * by.p) / now.p - now.at_p
    by.at_m = (mu - now.at_m * by.m) / now.m - now.at_m
    take = min(1.0, 0.95 * longest(now, by))
    for name in ("s", "y", "p", "m", "at_p", "at_m"):
        setattr(now, name, getattr(now, name) + take * getattr(by, name))
    now.place, now.slid = now.place + take * step[1:4], now.slid + take * step[4:]
    now.turn *= np.exp(1j * take * step[0] / run.size)
    return now


@pytest.mark.parametrize("slots", SLOTS)
@pytest.mark.parametrize("seed", range(2))
def test_each_step_is_that_of_the_dense_equations(seed: int, slots: str) -> None:
    run, p, q = some_run(seed, slots=slots)
    run.start()
    for _ in range(4):
        expected = [densely(run, p, q, k) for k in range(DRAWS)]
        run.step()
        for k, there in enumerate(expected):
            for name, value in vars(stands(run, k)).items():
                assert value == pytest.approx(getattr(there, name), rel=1e-5, abs=1e-7), name
            lever, gap = laid(run, p, q, k)
            assert run.lx[:, k] + 1j * run.ly[:, k] == pytest.approx(lever)
            assert run.rx[:, k] + 1j * run.ry[:, k] == pytest.approx(gap)


def test_what_is_pressed_against_an_edge_or_no_number_is_set_aside() -> None:
    """Slacks, forces, or z; all that is told of the other draws stays with them."""
    run, *_ = some_run(1)
    run.who = np.array([11, 12, 13, 14])
    run.start()
    run.middle, run.half = np.arange(4.0), np.arange(4.0) + 10
    run.step()
    run.set_aside_stuck()
    assert run.aside == [] and len(run.who) == 4
    run.sx[1, 0], run.sy[1, 0] = 0.6 * run.s0[1, 0], 0.8 * run.s0[1, 0]
    run.yx[3, 1], run.yy[3, 1] = -0.8 * run.y0[3, 1], 0.6 * run.y0[3, 1]
    run.z[3] = np.nan
    kept = {name: np.array(getattr(run, name))[..., 2:3] for name in Run._PER_DRAW}
    run.set_aside_stuck()
    assert run.aside == [11, 12, 14] and run.who.tolist() == [13]
    assert all(np.array_equal(getattr(run, name), value) for name, value in kept.items())


@pytest.mark.parametrize("name", ["s", "y"])
@pytest.mark.parametrize("size", [1e-3, 1e3])
def test_the_edge_is_told_by_what_is_left_of_the_length(name: str, size: float) -> None:
    run, *_ = some_run(2)
    run.start()
    for k, part in enumerate((5e-15, 2e-14, -1e-3, 1e-3)):
        getattr(run, f"{name}0")[2, k] = size
        getattr(run, f"{name}x")[2, k], getattr(run, f"{name}y")[2, k] = 0.0, size * np.sqrt(1.0 - part)
    run.set_aside_stuck()
    assert run.aside == [0, 2]
