"""Many draws at once are judged as each would be by itself."""

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from flat_cases import pattern, pushed

from partkin.fit.arrays import Pairs
from partkin.fit.batch import _allowed, _drop_conflicting, _drop_proved, batch_fits, batch_margin_mm, fits_block
from partkin.fit.many import Run, Slots
from partkin.fit.mating import mate
from partkin.fit.minimax import best_placement
from partkin.fit.task import Prepared
from partkin.fit.turns import two_by_two
from partkin.model.build import Feature
from partkin.model.fitting import FitTask, Option, Spot
from partkin.model.mating import DonorFeature, Fixing, Size

KINDS = [(n, slots) for n in (1, 2, 3, 5, 10) for slots in (False, True)]


def one_by_one(pairs: Pairs, q, p, rho) -> list[bool]:
    return [
        best_placement(Pairs(p[k], q[k], rho[k], pairs.s_h, pairs.u_h, pairs.s_d, pairs.u_d), stop_at_sign=True).fits
        for k in range(len(q))
    ]


def drawn(pairs: Pairs, rng, m: int, scatter_mm: float):
    n = len(pairs)
    q = pairs.q + rng.normal(0, scatter_mm, (m, n, 2))
    p = pairs.p + rng.normal(0, scatter_mm, (m, n, 2))
    return q, p, pairs.rho + rng.uniform(-0.1, 0.1, (m, n))


@pytest.mark.parametrize(("n", "slots"), KINDS)
def test_as_each_by_itself(n, slots):
    rng = np.random.default_rng([n, slots])
    pairs, _ = pattern(rng, n, slots, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 80, 0.3)
    fits = batch_fits(q, p, rho, pairs)
    assert fits.tolist() == one_by_one(pairs, q, p, rho)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize(("n", "slots"), KINDS)
def test_as_each_by_itself_at_length(n, slots, seed):
    rng = np.random.default_rng([n, slots, seed])
    pairs, _ = pattern(rng, n, slots, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 300, rng.choice([0.1, 0.3, 1.0]))
    fits = batch_fits(q, p, rho, pairs)
    assert fits.tolist() == one_by_one(pairs, q, p, rho)


@pytest.mark.parametrize("short_mm", [0.002, 1e-4, 1e-5])
def test_close_to_the_edge(short_mm):
    rng = np.random.default_rng(4)
    pairs, _ = pattern(rng, 6, slots=False)
    worst = best_placement(pairs).worst_mm
    rho = np.stack([pushed(pairs, worst, -short_mm).rho, pushed(pairs, worst, short_mm).rho])
    assert batch_fits(pairs.q, pairs.p, rho).tolist() == [True, False]


def test_awkward_draws():
    p = np.array([(0.0, 0.0), (100.0, 0.0), (100.0, 50.0)])
    half_turn, far = 5.0 - p, p + np.array([0.0, 1e5])
    cases = [
        (p, p, [0.0] * 3),
        (half_turn, p, [0.0] * 3),
        (p, p, [0.3, -0.1, 0.3]),
        (p[[0, 0, 0]], p[[1, 1, 1]], [0.1] * 3),
        (far, p, [0.2] * 3),
        (p[[0, 0, 1]], p[[0, 1, 1]], [0.3] * 3),
    ]
    q, donor, rho = (np.array([case[k] for case in cases]) for k in range(3))
    assert batch_fits(q, donor, rho).tolist() == [True, True, False, True, True, False]
    kept = donor.copy()
    assert batch_fits(q[:1, :1], donor[:1, :1], rho[:1, :1]).tolist() == [True]
    assert np.array_equal(donor, kept)
    assert batch_fits(np.zeros((4, 0, 2)), np.zeros((4, 0, 2)), np.zeros((4, 0))).tolist() == [True] * 4
    assert batch_fits(np.zeros((0, 3, 2)), np.zeros((0, 3, 2)), np.zeros((0, 3))).tolist() == []


def test_the_same_draw_is_judged_alike_in_any_block():
    rng = np.random.default_rng(9)
    pairs, _ = pattern(rng, 6, slots=True, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 2500, 0.25)
    whole = batch_fits(q, p, rho, pairs)
    parts = [batch_fits(q[k : k + 128], p[k : k + 128], rho[k : k + 128], pairs) for k in range(0, 2500, 128)]
    assert np.array_equal(whole, np.concatenate(parts))
    assert 0.05 < whole.mean() < 0.999


def held_chance(holes: int, sigma_mm: float, c_mm: float) -> float:
    """P(max <= c) for holes held at true position, normal centre errors on both parts.

    F. Scholz, Hole Alignment Tolerance Stacking Issues (1999): (1 - exp(-c^2 / (4 sigma^2)))^K.
    """
    return (1 - math.exp(-(c_mm**2) / (4 * sigma_mm**2))) ** holes


@pytest.mark.parametrize(("holes", "sigma_mm", "c_mm"), [(1, 0.3, 0.5), (4, 0.25, 0.8), (10, 0.2, 0.7)])
def test_scholz_where_the_placement_cannot_move(holes, sigma_mm, c_mm):
    draws = 8000
    rng = np.random.default_rng([holes, 42])
    at = rng.uniform(-200, 200, (holes, 2))
    pins = np.array([(-400.0, 0.0), (400.0, 0.0)])
    nominal = np.concatenate([at, pins])
    q, p = (np.broadcast_to(nominal, (draws, holes + 2, 2)).copy() for _ in range(2))
    for side in (q, p):
        side[:, :holes] += rng.normal(0, sigma_mm, (draws, holes, 2))
    rho = np.array([c_mm] * holes + [1e-4] * 2)
    expected = held_chance(holes, sigma_mm, c_mm)
    held = batch_fits(q, p, rho).mean()
    # 3.3 standard errors of a share, and what a millimetre of 1e-4 of play may add.
    assert held == pytest.approx(expected, abs=3.3 * math.sqrt(expected * (1 - expected) / draws) + 0.001)
    assert batch_fits(q[:, :holes], p[:, :holes], rho[:holes]).mean() >= held


def a_run(seed: int, draws: int = 40, slots: bool = True) -> tuple[Run, Pairs, list[Pairs]]:
    """Draws about the limit of what their distances allow, slots on either side among them."""
    rng = np.random.default_rng([seed, 77])
    pairs, _ = pattern(rng, 5, slots, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, draws, 0.4)
    each = [Pairs(p[k], q[k], rho[k], pairs.s_h, pairs.u_h, pairs.s_d, pairs.u_d) for k in range(draws)]
    run = Run(
        *(a.T.copy() for a in (*p.transpose(2, 0, 1), *q.transpose(2, 0, 1), rho)), Slots(pairs), np.arange(draws)
    )
    return run, pairs, each


@pytest.mark.parametrize("seed", range(6))
def test_draws_of_which_two_pairs_exclude_each_other_are_dropped(seed):
    """As two pairs by themselves tell it, and the turns that the tightest two of the others leave."""
    run, _, each = a_run(seed, slots=seed % 2 == 0)
    run.start()
    two = [two_by_two(one) for one in each]
    short = np.array([one.short_mm.max() for one in two])
    edge = np.array([1.5e-6, 2.5e-6])
    # Two draws whose worst two are just within rounding, and just beyond it.
    run.rho[:, :2] += (short[:2] - edge) / 2
    each[:2] = [
        replace(one, rho=one.rho + (mm - to) / 2) for one, mm, to in zip(each[:2], short[:2], edge, strict=True)
    ]
    _drop_conflicting(run)
    expected = np.concatenate([[True, False], short[2:] <= 2e-6])
    assert run.who.tolist() == np.flatnonzero(expected).tolist() and 2 < len(run.who) < 40
    first, second = np.triu_indices(5, 1)
    apart = np.mean([np.hypot(*(one.p[first] - one.p[second]).T) for one in each], axis=0)
    sigma = np.mean([one.sigma for one in each], axis=0)
    tightest = int(np.argmin((sigma[first] + sigma[second]) / apart))
    for column, k in enumerate(run.who):
        two = two_by_two(each[k])
        assert run.middle[column] == pytest.approx(two.middle_rad[tightest], abs=1e-9)
        assert run.half[column] == pytest.approx(max(two.half_rad[tightest], 0.0), abs=1e-4)


def test_of_a_single_pair_nothing_is_dropped_before_it_is_tried():
    run, *_ = a_run(0)
    one = Run(*(a[:1] for a in (run.px, run.py, run.qx, run.qy, run.rho)), Slots(a_run(0)[1].take([0])), run.who)
    _drop_conflicting(one)
    assert len(one.who) == 40 and (one.half == np.pi).all()


@pytest.mark.parametrize("seed", range(6))
def test_draws_are_dropped_where_balanced_weights_prove_it_for_every_turn_that_is_open(seed):
    """The bound of the forces over the open turns, written down pair by pair, with plays that set it to its edge."""
    run, pairs, _ = a_run(seed, draws=12)
    run.start()
    run.step()
    run.step()
    rng = np.random.default_rng(seed)
    run.middle = np.arctan2(run.s, run.c) + rng.uniform(-0.5, 0.5, 12) + 2 * math.pi * rng.integers(-1, 2, 12)
    run.half = rng.choice([0.01, 0.6, 2.0, 3.0], 12)
    expected = []
    for k in range(12):
        f = -(run.yx[:, k] + 1j * run.yy[:, k])
        f -= f.mean()
        turned = complex(run.c[k], run.s[k])
        at_turn, gone = turned * (run.px[:, k] + 1j * run.py[:, k]), run.qx[:, k] + 1j * run.qy[:, k]
        away = abs(math.remainder(math.atan2(run.s[k], run.c[k]) - run.middle[k], 2 * math.pi)) + run.half[k]
        wave = (np.conj(f) * at_turn).sum()
        # What a turn by up to `away` makes of it: the part along by its cosine, the part across by its sine.
        least = min(wave.real, wave.real * math.cos(min(away, math.pi)))
        least -= abs(wave.imag) * math.sin(min(away, math.pi / 2))
        along_h, along_d = ((u @ [1, 1j]) for u in (pairs.u_h, pairs.u_d))
        least -= float((np.conj(f) * gone).sum().real) + float((np.abs(f) * run.rho[:, k]).sum())
        least -= float((pairs.s_h * np.abs((np.conj(f) * along_h).real)).sum())
        way = np.abs((np.conj(f) * turned * along_d).real)
        least -= float((pairs.s_d * (way + np.abs(f) * away)).sum())
        wanted_mm = (1.5e-6, 2.5e-6)[k % 2]
        run.rho[:, k] += least / np.abs(f).sum() - wanted_mm
        expected.append(wanted_mm < 2e-6)
    _drop_proved(run)
    assert run.who.tolist() == np.flatnonzero(expected).tolist()


@pytest.mark.parametrize(("n", "slots"), [(2, False), (3, False), (5, True), (10, False), (10, True)])
def test_nearly_every_draw_is_decided_without_the_slow_solver(monkeypatch, n, slots):
    asked = []

    def counted(pairs, **how):
        asked.append(pairs)
        return best_placement(pairs, **how)

    monkeypatch.setattr("partkin.fit.batch.best_placement", counted)
    rng = np.random.default_rng([n, slots, 3])
    pairs, _ = pattern(rng, n, slots, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 500, 0.3)
    rho[400:, 0] = -0.2
    fits = batch_fits(q, p, rho, pairs)
    assert 20 < fits.sum() < 390 and not fits[400:].any() and len(asked) <= 8


def test_where_all_fit_at_once_nothing_more_is_asked():
    at = np.array([(0.0, 0.0), (100.0, 0.0), (0.0, 50.0)])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert batch_fits(at, at, np.full((3, 3), 0.5)).all()


def test_a_play_that_is_negative_by_rounding_alone_still_holds():
    at = np.array([(0.0, 0.0), (100.0, 0.0)])
    assert batch_fits(at, at, np.array([[0.5, -0.5e-6], [0.5, -2e-6]])).tolist() == [True, False]


@pytest.mark.parametrize(("n", "slots"), KINDS)
def test_margins_are_those_of_each_by_itself(n, slots):
    """Never more than the best margin, and nearly that."""
    rng = np.random.default_rng([n, slots, 5])
    pairs, _ = pattern(rng, n, slots, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 12, 0.3)
    found = batch_margin_mm(q, p, rho, pairs)
    for k in range(12):
        best = best_placement(Pairs(p[k], q[k], rho[k], pairs.s_h, pairs.u_h, pairs.s_d, pairs.u_d)).worst_mm
        assert -best - 2e-3 <= found[k] <= -best + 1e-6
    assert batch_margin_mm(q + 3e4, p, rho, pairs) == pytest.approx(found, abs=1e-5)
    parts = [batch_margin_mm(q[k : k + 3], p[k : k + 3], rho[k : k + 3], pairs) for k in range(0, 12, 3)]
    assert np.concatenate(parts) == pytest.approx(found, abs=1e-6)
    assert batch_margin_mm(q[:0], p[:0], rho[:0], pairs).tolist() == []


def a_kind(mirrored: bool = False, heights_mm: tuple[float, ...] = ()) -> Prepared:
    """A nut that floats; a bolt through two holes; a size not known; studs under holes, one of exact size."""
    fastener, floats = {"F1": 8.0}, {"F0": 1.5}
    kinds = {
        "F1": ("hole", Size(9.0), "hole", Size(10.0, 0.2)), "F0": ("captive nut", Size(6.0), "hole", Size(6.8)),
        "F3": ("stud", Size(6.0), "hole", Size(None)), "F2": ("stud", Size(6.0, 0.1), "hole", Size(7.0, 0.2)),
        "F4": ("stud", Size(6.0, 0.1), "hole", Size(7.0)),
    }  # fmt: skip
    fixings, features, matings, options = {}, {}, {}, []
    for name, (host_kind, host, donor_kind, donor) in kinds.items():
        other = name.replace("F", "a")
        of_host = Feature("h", name, host_kind, fastener_mm=fastener.get(name), float_mm=floats.get(name))
        fixings[name] = Fixing(of_host, host, Size(None))
        features[other] = DonorFeature(Feature("d", other, donor_kind), donor, Size(None))
        matings[name, other] = mating = mate(fixings[name], features[other])
        options.append(Option(name, other, 1e5 if mating.allowed_mm is None else mating.allowed_mm))
    at = [(0.0, 0.0), (200.0, 0.0), (0.0, 100.0), (200.0, 120.0), (100.0, 60.0)]
    flip = -1.0 if mirrored else 1.0
    task = FitTask(
        tuple(Spot(f"F{k}", (x, y, *heights_mm[k : k + 1]), grip_mm=0.3) for k, (x, y) in enumerate(at)),
        tuple(Spot(f"a{k}", (flip * x, y, *heights_mm[k : k + 1])) for k, (x, y) in enumerate(at)),
        tuple(options), given=True, mirrored=mirrored,
    )  # fmt: skip
    return Prepared(task, matings, fixings, features, frozenset({("F3", "a3")}), (), {("F3", "a3"): 1e5})


def test_the_plays_of_draws_are_those_of_sizes_drawn_within_their_errors():
    """By hand: (7 + 0.2 e - 6 - 0.1 e') / 2; 0.5 + (10 + 0.2 e - 8) / 2; and as asked where a size is not known."""
    kind, asked = a_kind(), []
    error = {"host F2": [1.0, -1.0], "donor a2": [0.5, 1.0], "donor number 4": [-1.0, 1.0], "host F4": [1.0, -0.5]}

    def draw(name, start, count):
        asked.append((name, start, count))
        return np.array(error.get(name, np.zeros(2)))

    def allowed(number, given=kind, names=None):
        return _allowed(given, (f"F{number}", f"a{number}"), names or {}, draw, 6, 2).tolist()

    assert allowed(2) == pytest.approx([(7.1 - 6.1) / 2, (7.2 - 5.9) / 2])
    assert asked == [("host F2", 6, 2), ("donor a2", 6, 2)]
    assert allowed(1, names={"donor a1": "donor number 4"}) == pytest.approx([0.5 + 0.9, 0.5 + 1.1])
    assert allowed(0) == pytest.approx([0.4 + 1.5] * 2) and allowed(3) == [1e5] * 2
    assert allowed(4) == pytest.approx([0.45, 0.525])
    # Sizes that are exact, and a donor that gives: pulled by hand in the plane alone.
    for in_plane in (False, True):
        pulled = replace(kind, task=replace(kind.task, pulled_mm=0.7, flex_in_plane=in_plane))
        assert allowed(0, pulled) == pytest.approx([1.9 + 0.7 * in_plane] * 2)
        assert allowed(2, pulled) == pytest.approx([0.5 + 0.7 * in_plane, 0.65 + 0.7 * in_plane])
    # What is taken at its kindest, or of which it is not told how it goes together, is asked as the task has it.
    mating, pair = kind.matings["F2", "a2"], ("F2", "a2")
    others = (
        {"most_mm": {pair: 3.0}}, {"unknown": frozenset({pair})}, {"matings": {}},
        {"matings": {pair: mating._replace(rule=None)}}, {"matings": {pair: mating._replace(allowed_mm=None)}},
    )  # fmt: skip
    assert all(allowed(2, replace(kind, **other)) == [0.5, 0.5] for other in others)


@pytest.mark.parametrize("heights_mm", [(), (0.0, 30.0, -20.0, 10.0, 5.0)])
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_draw_fits_where_one_of_the_pairings_does(mirrored, heights_mm):
    """Of three draws: as it should be; with fixings 1 and 2 swapped; out by far. On a flat task heights are let be."""
    kind = a_kind(mirrored, heights_mm)
    heights = heights_mm or (5.0, 6.0, 7.0, 8.0, 9.0)
    good = np.array([(*spot.at_mm[:2], z) for spot, z in zip(kind.task.fixings, heights, strict=True)])
    far = good.copy()
    far[1, 0] += 9.0
    donor = np.array([(*spot.at_mm[:2], z) for spot, z in zip(kind.task.features, heights, strict=True)])
    if not heights_mm:
        donor[:, 2] = 0.0
    hosts = np.stack([good, good[[0, 2, 1, 3, 4]], far])
    plain, crossed = [(f"F{k}", f"a{k}") for k in range(3)], [("F0", "a0"), ("F2", "a1"), ("F1", "a2")]
    options = (*kind.task.options, Option("F2", "a1", 0.5), Option("F1", "a2", 0.5))
    kind = replace(kind, task=replace(kind.task, options=options))
    asked = []

    def fits(pairings, start, count):
        block = fits_block(
            kind, pairings, lambda at, m: hosts[at : at + m], lambda at, m: np.stack([donor] * m),
            lambda name, at, m: asked.append((at, m)) or np.zeros(m),
        )  # fmt: skip
        return block(start, count).tolist()

    assert fits([plain], 0, 3) == [True, False, False] and fits([crossed], 0, 3) == [False, True, False]
    assert fits([plain, crossed], 0, 3) == [True, True, False] and fits([crossed, plain], 1, 2) == [True, False]
    assert fits([plain, crossed], 0, 1) == [True] and {*asked} == {(0, 3), (1, 2), (0, 1)}
