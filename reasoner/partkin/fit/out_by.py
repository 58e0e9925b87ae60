"""By how much of their stated errors readings would have to be out for pairs to hold, and proof that less will not do.

Flat patterns. At a held turn it is a linear program, but for what a distance is longer than its part along the line
that it was read on: that is bounded. Its multipliers, forces on the pairs and what the readings carry of them, prove
it whatever the errors are within what was stated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from partkin.fit.arrays import Floats, Pairs, directions, turn
from partkin.fit.certificate import covers, in_degrees, outward, pieces_apart, whole_multiples
from partkin.fit.convex import least
from partkin.fit.minimax import kabsch
from partkin.fit.turns import Bound, open_arcs, two_by_two
from partkin.model.fitting import Piece

# Beyond so many times what was stated nothing is told apart any more.
MOST_SHARE = 5.0
_WAYS = directions(np.arange(24) * 15.0)
_STEPS = 16
_SAME = 1.0e-3
CLOSE_MM = 1.0e-6
_TURN_RAD = 0.03
_DIGITS = 4
_GRID = 2.0**-15
_MOST_PIECES = 300


@dataclass(frozen=True, eq=False)
class Near:
    """How far from where they are taken to be places are looked for: `mm`, and `swing_mm` (m,) across each distance."""

    mm: float
    swing_mm: Floats


@dataclass(frozen=True, eq=False)
class StatedShape:
    """Where the features of one side are taken to be, and what was read of them.

    Attributes
    ----------
    features
        Their ids.
    at_mm
        float64 (n, 2), the donor mirrored already.
    ends, length_mm, error_mm
        int (m, 2), float64 (m,) each: distances that were read, and how far each may be out.
    read_mm, read_error_mm
        float64 (n, 2): coordinates that were read; an infinite error where none was.
    names
        Ids of the distances.
    """

    features: tuple[str, ...]
    at_mm: Floats
    ends: np.ndarray
    length_mm: Floats
    error_mm: Floats
    read_mm: Floats
    read_error_mm: Floats
    names: tuple[str, ...]

    @property
    def read(self) -> np.ndarray:
        """(n,) of which features both coordinates tell; one such feature alone tells nothing of the shape."""
        both = np.isfinite(self.read_error_mm).all(axis=1)
        return both if both.sum() > 1 else np.zeros(len(both), dtype=bool)

    def rows(self) -> tuple[Floats, Floats]:
        """How each distance changes, along its line, as the features move, (m, 2 n); and how long it is now."""
        apart = self.at_mm[self.ends[:, 0]] - self.at_mm[self.ends[:, 1]]
        now = np.maximum(np.linalg.norm(apart, axis=1), 1e-9)
        out = np.zeros((len(now), len(self.at_mm), 2))
        for end, sign in ((0, 1.0), (1, -1.0)):
            out[np.arange(len(now)), self.ends[:, end]] += sign * apart / now[:, None]
        return out.reshape(len(now), self.at_mm.size), now

    def kept_at(self) -> float:
        """The share of their errors within which all readings are kept where the features are taken to be."""
        off, error = np.abs(self.length_mm - self.rows()[1]), self.error_mm
        box, wide = np.abs(self.read_mm - self.at_mm)[self.read].ravel(), self.read_error_mm[self.read].ravel()
        off, error = np.concatenate([off, box]), np.concatenate([error, wide])
        return float((np.maximum(off - CLOSE_MM, 0.0) / np.maximum(error, 1e-12)).max(initial=0.0))

    def loose(self) -> Floats:
        """(2 n, k) ways in which the features may move; without a frame none shifts or turns them all."""
        wide = np.eye(self.at_mm.size)
        if self.read.any():
            return wide
        x, y = (self.at_mm - self.at_mm.mean(axis=0)).T
        rigid = np.stack([wide[0::2].sum(axis=0), wide[1::2].sum(axis=0), np.stack([-y, x], axis=1).ravel()])
        _, size, ways = np.linalg.svd(rigid)
        return np.asarray(ways[np.count_nonzero(size > 1e-9 * size[0]) :].T)

    def near(self, share: float) -> Near | None:
        """Where to look for the places, by the first order and a quarter; None: the readings leave the shape open."""
        rows, now = self.rows()
        coordinates = np.eye(self.at_mm.size)[np.repeat(self.read, 2)]
        whole = np.concatenate([rows, coordinates])
        off = np.concatenate([self.length_mm - now, (self.read_mm - self.at_mm)[self.read].ravel()])
        error = np.concatenate([self.error_mm, self.read_error_mm[self.read].ravel()])
        loose = self.loose()
        if np.linalg.matrix_rank(whole @ loose, tol=1e-6) < loose.shape[1]:
            return None
        told, out = np.linalg.pinv(whole), np.abs(off) + share * error
        off_mm = np.abs(told) @ out
        across = np.stack([-rows[:, 1::2], rows[:, 0::2]], axis=2).reshape(rows.shape)
        swing_mm = 1.25 * np.abs(across @ told) @ out + 1e-3
        return Near(1.25 * float(np.hypot(off_mm[0::2], off_mm[1::2]).max()) + 1e-3, np.ceil(swing_mm * 1e3) / 1e3)

    def limits(self, share: float, near: Near) -> tuple[Floats, Floats, Floats, Floats]:
        """Least and most that each distance may change by along its line, and each coordinate that was read."""
        now = self.rows()[1]
        error = share * self.error_mm + CLOSE_MM
        short = np.maximum(self.length_mm - error, 0.0)
        # A distance is at most as long as its part along the line, and that less what it may swing sideways.
        low = np.sqrt(np.maximum(short**2 - near.swing_mm**2, 0.0)) - now
        low[now <= 2.0 * near.mm] = -np.inf
        off = (self.read_mm - self.at_mm)[self.read]
        box = share * self.read_error_mm[self.read] + CLOSE_MM
        return low, self.length_mm + error - now, off - box, off + box

    def radius_mm(self, share: float, near: Near) -> Floats:
        """(n,) how far each place may be off."""
        out = np.full(len(self.at_mm), near.mm)
        _, _, low, high = self.limits(share, near)
        out[self.read] = np.hypot(*np.maximum(np.abs(low), np.abs(high)).T)
        return out

    def most(self, load: Floats, stress: Floats, share: float, near: Near) -> float:
        """No more than this can the places that the readings allow give way to a load on them.

        Parameters
        ----------
        load
            float64 (n, 2).
        stress
            float64 (m,): what of it each distance carries.
        share, near
        """
        rows, _ = self.rows()
        low, high, box_low, box_high = self.limits(share, near)
        used = stress != 0.0
        carried = float(np.maximum(stress[used] * low[used], stress[used] * high[used]).sum())
        rest = load - (stress @ rows).reshape(load.shape)
        if self.read.any():
            carried += float(np.maximum(rest[self.read] * box_low, rest[self.read] * box_high).sum())
            return carried + near.mm * float(np.linalg.norm(rest[~self.read], axis=1).sum())
        rest = rest - rest.mean(axis=0)
        arm = self.at_mm - self.at_mm.mean(axis=0)
        across = np.stack([-arm[:, 1], arm[:, 0]], axis=1)
        rest = rest - across * float((across * rest).sum()) / max(float((arm * arm).sum()), 1e-12)
        return carried + near.mm * float(np.linalg.norm(rest, axis=1).sum())


@dataclass(frozen=True, eq=False)
class HeldPairs:
    """Pairs that have to hold, with the shapes that they stand on.

    Attributes
    ----------
    sides
        Host and donor.
    on
        int (n, 2): rows of host and donor.
    pairs
        At the places that they are taken to have, the play of an original's round hole counted in.
    size_mm
        float64 (n,): what a share of 1 of the errors of sizes adds to each play.
    play_half_mm, play_along
        float64 (n,), (n, 2): of an original's slot, where its fixing may have stood.
    """

    sides: tuple[StatedShape, StatedShape]
    on: np.ndarray
    pairs: Pairs
    size_mm: Floats
    play_half_mm: Floats
    play_along: Floats

    def near(self, share: float) -> tuple[Near, Near] | None:
        """As `Shape.near`, of both."""
        host, donor = (side.near(share) for side in self.sides)
        return None if host is None or donor is None else (host, donor)

    def at_turn(self, turn_rad: float, share: float, near: tuple[Near, Near], *, turning: bool) -> Lack:
        """The least that every play would have to be wider by, at about this turn or with it held."""
        laid = turn(self.pairs.p, math.cos(turn_rad), math.sin(turn_rad))
        loose = [side.loose() for side in self.sides]
        half = np.concatenate([self.pairs.s_h, self.play_half_mm, self.pairs.s_d])
        slots = int(np.count_nonzero(half > 0.0))
        gap = self._gaps(turn_rad, laid, loose, half, turning)
        asked, off = _Asked(gap.shape[1] + 1), laid - self.pairs.q
        for way in _WAYS:
            toward = way[0] * gap[0::2] + way[1] * gap[1::2]
            asked.most(toward, self.pairs.rho + share * self.size_mm - off @ way, self.size_mm, 0, wider=1.0)
        if turning:
            asked.between(np.eye(1), np.full(1, -_TURN_RAD), np.full(1, _TURN_RAD), np.zeros(1), 2)
        first = 2 + int(turning)
        asked.between(np.eye(slots), -half[half > 0.0], half[half > 0.0], np.zeros(slots), first)
        first += slots
        carried = []
        for side, ways, there in zip(self.sides, loose, near, strict=True):
            low, high, box_low, box_high = side.limits(share, there)
            firm = np.isfinite(low)
            told, box = side.rows()[0][firm] @ ways, ways[np.repeat(side.read, 2)]
            carried.append((firm, asked.between(told, low[firm], high[firm], side.error_mm[firm], first)))
            asked.between(box, box_low.ravel(), box_high.ravel(), side.read_error_mm[side.read].ravel(), first)
            first += ways.shape[1]
        x, weight, slope = asked.settled()
        force = np.einsum("kn,kd->nd", weight[: off.size // 2 * len(_WAYS)].reshape(len(_WAYS), -1), _WAYS)
        stress = []
        for firm, (upper, lower) in carried:
            own = np.zeros(len(firm))
            own[firm] = weight[upper] - weight[lower]
            stress.append(own)
        return Lack(float(x[-1]), float(x[2]) if turning else 0.0, force, (stress[0], stress[1]), slope)

    def _gaps(self, turn_rad: float, laid: Floats, loose: Sequence[Floats], half: Floats, turning: bool) -> Floats:
        """(2 n, k) how gaps change with a shift, a turn, what slots take, and with the places of host and donor."""
        n = len(self.pairs)
        c, s = math.cos(turn_rad), math.sin(turn_rad)
        taken = np.zeros((2 * n, 3 * n))
        for at, along in enumerate((-self.pairs.u_h, -self.play_along, turn(self.pairs.u_d, c, s))):
            taken[np.arange(2 * n), at * n + np.arange(2 * n) // 2] = along.ravel()
        moved = [np.zeros((2 * n, side.at_mm.size)) for side in self.sides]
        for k, (row, other) in enumerate(self.on):
            moved[0][2 * k : 2 * k + 2, 2 * row : 2 * row + 2] = -np.eye(2)
            moved[1][2 * k : 2 * k + 2, 2 * other : 2 * other + 2] = [[c, -s], [s, c]]
        lever = np.stack([-laid[:, 1], laid[:, 0]], axis=1).reshape(-1, 1)
        return np.concatenate(
            [np.tile(np.eye(2), (n, 1)), lever[:, : int(turning)], taken[:, half > 0.0],
             moved[0] @ loose[0], moved[1] @ loose[1]], axis=1,
        )  # fmt: skip

    def excludes(self, proof: Lack, lo: float, hi: float, share: float, near: tuple[Near, Near]) -> float:
        """Lower bound of what the pairs lack at turns from lo to hi (rad), whatever the errors are."""
        wide = replace(self.pairs, rho=self.pairs.rho + share * self.size_mm)
        middle, half = (lo + hi) / 2, (hi - lo) / 2
        total = float(np.linalg.norm(proof.force, axis=1).sum())
        if total <= 0.0:
            return -math.inf
        left = Bound(wide, proof.force).by_middle(lo, hi) * total
        left -= float((self.play_half_mm * np.abs((proof.force * self.play_along).sum(axis=1))).sum())
        back = turn(proof.force, math.cos(middle), -math.sin(middle))
        for side, column, load, stress, there in zip(
            self.sides, self.on.T, (proof.force, -back), proof.stress, near, strict=True
        ):
            on_all = np.zeros(side.at_mm.shape)
            np.add.at(on_all, column, load)
            left -= side.most(on_all, stress, share, there)
            if side is self.sides[1]:
                radius = side.radius_mm(share, there)[column]
                left -= half * float((np.linalg.norm(load, axis=1) * radius).sum())
        return left


@dataclass(frozen=True, eq=False)
class Lack:
    """What one turn lacks: mm, how far to turn on, (n, 2) forces, what each distance carries, how fast errors help."""

    lacks_mm: float
    turn_rad: float
    force: Floats
    stress: tuple[Floats, Floats]
    slope: float


class _Asked:
    """What a program asks, row by row; its last unknown is by how much every play is wider."""

    def __init__(self, width: int) -> None:
        self.width, self.count = width, 0
        self.rows: list[Floats] = []
        self.limits: list[Floats] = []
        self.grows: list[Floats] = []

    def most(self, block: Floats, limit: Floats, grows: Floats, first: int, wider: float = 0.0) -> slice:
        """Ask that what a block of columns says stays at or below a limit, which grows with the share."""
        out = np.zeros((len(block), self.width))
        out[:, first : first + block.shape[1]], out[:, -1] = block, -wider
        self.rows.append(out)
        self.limits.append(limit)
        self.grows.append(grows)
        self.count += len(block)
        return slice(self.count - len(block), self.count)

    def between(self, block: Floats, low: Floats, high: Floats, grows: Floats, first: int) -> tuple[slice, slice]:
        """The same on both sides."""
        return self.most(block, high, grows, first), self.most(-block, -low, grows, first)

    def settled(self) -> tuple[Floats, Floats, float]:
        """The unknowns, the multipliers, and how fast a greater share helps."""
        cost = np.zeros(self.width)
        cost[-1] = 1.0
        x, weight = least(cost, np.concatenate(self.rows), np.concatenate(self.limits))
        return x, weight, float(weight @ np.concatenate(self.grows))


def share_needed(held: HeldPairs, turn_rad: float | None = None) -> float | None:
    """The smallest share of all stated errors at which the pairs hold; None: not found, or a shape is left open.

    At most `MOST_SHARE`: that, or more. `turn_rad`: at this turn; None: at about that of least squares.
    """
    at = kabsch(held.pairs)[0] if turn_rad is None else turn_rad
    least_share = max(side.kept_at() for side in held.sides)
    share = least_share
    if least_share >= 1.0:
        return None
    for _ in range(_STEPS):
        near = held.near(share)
        if near is None:
            return None
        found = held.at_turn(at, share, near, turning=turn_rad is None)
        at += found.turn_rad
        kept = abs(found.lacks_mm) <= CLOSE_MM or (found.lacks_mm < 0.0 and share <= least_share)
        if kept and abs(found.turn_rad) < 1e-4:
            break
        if found.slope <= 1e-9:
            if found.lacks_mm > CLOSE_MM and abs(found.turn_rad) < 0.99 * _TURN_RAD:
                return MOST_SHARE
            continue
        last, share = share, max(least_share, share + found.lacks_mm / found.slope)
        if share >= MOST_SHARE:
            return MOST_SHARE
        if abs(share - last) < _SAME * share and abs(found.turn_rad) < 1e-4:
            break
    else:
        # The turn is still on its way, or no errors are stated and none would do.
        return None
    return share


def prove(
    held: HeldPairs, share: float, ids: Sequence[str]
) -> tuple[tuple[Piece, ...], tuple[Near, Near]] | float | None:
    """Prove that the pairs hold nowhere, whatever the errors are within such a share of what was stated.

    Returns
    -------
    tuple, float or None
        Pieces over the full circle, and where places of host and donor were looked for; a turn (rad) at which the pairs
        hold after all; None: it was not proved.
    """
    near = held.near(share)
    if near is None:
        return None
    rho = held.pairs.rho + share * held.size_mm
    tightest = int(np.argmin(rho))
    if rho[tightest] < -CLOSE_MM:
        return (Piece((-180.0, 180.0), apart=(ids[tightest], ids[tightest])),), near
    off = [side.radius_mm(share, n)[column] for side, n, column in zip(held.sides, near, held.on.T, strict=True)]
    two = two_by_two(replace(held.pairs, rho=rho + held.play_half_mm + off[0] + off[1] + 1e-6))
    arcs = outward(open_arcs(two), _DIGITS)
    apart = pieces_apart(two, arcs, ids, _DIGITS)
    if apart is None:
        return None
    pieces, left = apart, list(arcs)
    while left:
        lo, hi = left.pop()
        found = held.at_turn(math.radians(lo + hi) / 2, share, near, turning=False)
        if found.lacks_mm <= CLOSE_MM:
            return math.radians(lo + hi) / 2
        if len(pieces) + len(left) > _MOST_PIECES:
            return None
        proof = _rounded(found)
        if held.excludes(proof, math.radians(lo), math.radians(hi), share, near) > CLOSE_MM:
            pieces.append(_piece(held, proof, (lo, hi), ids, near))
            continue
        middle = in_degrees((lo + hi) / 2, _DIGITS)
        if not lo < middle < hi:
            return None
        left += [(lo, middle), (middle, hi)]
    pieces.sort(key=lambda piece: piece.turn_deg)
    return (tuple(pieces), near) if covers(pieces) else None


def _rounded(found: Lack) -> Lack:
    """The same in whole multiples of 2**-15, balanced, so that a file holds them exactly."""
    scale = 1.0 / max(float(np.linalg.norm(found.force, axis=1).sum()), 1e-12)
    host, donor = (np.round(each * scale / _GRID) * _GRID for each in found.stress)
    return replace(found, force=whole_multiples(1.0, _GRID)(found.force), stress=(host, donor))


def _piece(
    held: HeldPairs, proof: Lack, arc: tuple[float, float], ids: Sequence[str], near: tuple[Near, Near]
) -> Piece:
    force = tuple((ids[i], (float(x), float(y))) for i, (x, y) in enumerate(proof.force) if x or y)
    carried = [
        tuple(
            (name, float(w), float(swing)) for name, w, swing in zip(side.names, own, there.swing_mm, strict=True) if w
        )
        for side, own, there in zip(held.sides, proof.stress, near, strict=True)
    ]
    return Piece(arc, force, carried=(carried[0], carried[1]))
