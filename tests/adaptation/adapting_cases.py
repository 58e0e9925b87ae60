"""Invented adaptation questions: small patterns with errors, and everything that may stand in the way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from partkin.adaptation.cheapest import DEFAULT_LIMIT, Cheapest
from partkin.model.adapting import AdaptationAnswer, AdaptationQuestion
from partkin.model.build import Feature, Outline, Part, Settings, WorkRow, Zone
from partkin.model.fitting import FitTask, Option, Spot
from partkin.model.mating import Mating

JOBS = ("open out", "slot", "new hole", "leave unused", "other bolt", "thread insert")


def spot(feature: Feature, host: bool) -> Spot:
    """The spot of a feature, as the fit stage makes it."""
    half_mm = max(0.0, ((feature.length_mm or 0.0) - (feature.across_mm or 0.0)) / 2.0)
    need = feature.need or ("must" if host else "should")
    return Spot(
        feature.feature, (feature.x_mm or 0.0, feature.y_mm or 0.0), half_mm if feature.kind == "slot" else 0.0,
        feature.angle_deg or 0.0, must=need == "must", should=need == "should",
    )  # fmt: skip


def play_mm(host: Feature, donor: Feature) -> float:
    """ASME Y14.5: fixed (H - F)/2, floating the sum; a captive nut's float is added."""
    bolt_mm = {"M6": 6.0, "M8": 8.0}.get(host.thread or "", host.across_mm or 0.0)
    own = ((donor.across_mm or 0.0) - bolt_mm) / 2.0
    if host.kind == "hole":
        return own + ((host.across_mm or 0.0) - bolt_mm) / 2.0
    return own + (host.float_mm or 0.0 if host.kind == "captive nut" and own >= 0.0 else 0.0)


def ask(
    fixings: list[Feature], features: list[Feature], pairs: list[tuple[str, str]], **known: object
) -> AdaptationQuestion:
    """A question with the pairing given; parts of steel, trim, 40 an hour unless said otherwise."""
    by_name = {f.feature: f for f in (*fixings, *features)}
    task = FitTask(
        tuple(spot(f, True) for f in fixings), tuple(spot(f, False) for f in features),
        tuple(Option(a, b, play_mm(by_name[a], by_name[b])) for a, b in pairs), given=True,
    )  # fmt: skip
    asked = AdaptationQuestion(
        task, Part("D", material="steel", duty="trim"), Part("H", material="steel", duty="body"), tuple(features),
        tuple(fixings), duty="trim", host_duty="body", airbag=False,
        settings=Settings(labour_rate=40.0, currency="EUR"),
    )  # fmt: skip
    return replace(asked, **known)  # type: ignore[arg-type]


def cheapest(question: AdaptationQuestion, limit: int = DEFAULT_LIMIT, quick: bool = False) -> AdaptationAnswer:
    """The least work with others and what is ruled out, by whole answers of the geometry unless `quick`."""
    return Cheapest(question, limit=limit, quick=quick).whole()


def studs(*at: tuple[float, float]) -> list[Feature]:
    """Studs M6, F1 and on."""
    return [Feature("H", f"F{n}", "stud", thread="M6", across_mm=6.0, x_mm=x, y_mm=y) for n, (x, y) in enumerate(at, 1)]


def holes(*at: tuple[float, float], across_mm: float = 7.0) -> list[Feature]:
    """Holes a, b and on."""
    return [Feature("D", "abcdefghijkl"[n], "hole", across_mm=across_mm, x_mm=x, y_mm=y) for n, (x, y) in enumerate(at)]


def random_question(seed: int, least: int = 4, most: int = 6, scatter_mm: float = 0.35) -> AdaptationQuestion:
    """Draw a question: a pattern with errors, and whatever else may come up."""
    draw = np.random.default_rng([seed, 6])
    n = int(draw.integers(least, most + 1))
    points = _apart(draw, n + 1)
    fixings = [_fixing(draw, k, points[k]) for k in range(n)]
    turn = draw.uniform(-math.pi, math.pi)
    c, s = math.cos(turn), math.sin(turn)
    wrong = draw.normal(0.0, scatter_mm, (n, 2))
    for k in draw.permutation(n)[: int(draw.integers(1, 3))]:
        along = draw.uniform(0, 2 * math.pi)
        wrong[k] += draw.uniform(1.0, 7.0) * np.array([math.cos(along), math.sin(along)])
    at = (points[:n] + wrong) @ np.array([[c, -s], [s, c]]) + draw.uniform(-50, 50, 2)
    features = [_feature(draw, k, fixings[k], at[k]) for k in range(n)]
    pairs = [(f.feature, g.feature) for f, g in zip(fixings, features, strict=True)]
    matings: tuple[Mating, ...] = ()
    if draw.uniform() < 0.15:
        fixings.append(Feature("H", "F9", "stud", thread="M6", across_mm=6.0, x_mm=points[n][0], y_mm=points[n][1]))
    if draw.uniform() < 0.15:
        matings, features = _wrong_thread(fixings, features)
        pairs = [pair for pair in pairs if pair != ("F0", "h0")] if matings else pairs
    asked = ask(fixings, features, pairs, matings=matings, work=_work(draw))
    return _surroundings(draw, asked, at)


def _apart(draw: np.random.Generator, n: int) -> np.ndarray:
    points: list[np.ndarray] = []
    while len(points) < n:
        point = draw.uniform((0.0, 0.0), (520.0, 300.0))
        if all(np.linalg.norm(point - other) > 60.0 for other in points):
            points.append(point)
    return np.array(points)


def _fixing(draw: np.random.Generator, k: int, at: np.ndarray) -> Feature:
    kind = str(draw.choice(["stud", "captive nut", "tapped hole", "hole"], p=[0.5, 0.2, 0.1, 0.2]))
    need = "should" if kind != "stud" and draw.uniform() < 0.3 else "must"
    made = Feature("H", f"F{k}", kind, thread="M6", x_mm=float(at[0]), y_mm=float(at[1]), need=need)  # type: ignore[arg-type]
    if kind == "hole":
        return replace(made, across_mm=7.0)
    if kind == "captive nut":
        return replace(made, float_mm=float(draw.choice([0.0, 0.5, 1.0])))
    return replace(made, across_mm=6.0)


def _feature(draw: np.random.Generator, k: int, fixing: Feature, at: np.ndarray) -> Feature:
    across_mm = float(draw.choice([5.5, 6.5, 7.0, 7.5], p=[0.05, 0.3, 0.45, 0.2]))
    made = Feature("D", f"h{k}", "hole", across_mm=across_mm, x_mm=float(at[0]), y_mm=float(at[1]))
    if draw.uniform() < 0.15:
        return replace(made, kind="slot", length_mm=across_mm + 3.0, angle_deg=float(draw.uniform(0, 180)))
    return made


def _wrong_thread(fixings: list[Feature], features: list[Feature]) -> tuple[tuple[Mating, ...], list[Feature]]:
    if fixings[0].kind not in ("tapped hole", "captive nut") or features[0].kind != "hole":
        return (), features
    meant = replace(features[0], thread="M8")
    mating = Mating("F0", "h0", "fixed by the host", None, blocked="the screw is M8 and the nut M6", option=False)
    return (mating,), [meant, *features[1:]]


def _work(draw: np.random.Generator) -> tuple[WorkRow, ...]:
    """Invented minutes, so that no job is always the cheapest."""
    return tuple(
        WorkRow(do, "any", float(draw.integers(1, 25)), float(draw.integers(0, 4)), 0.5, ("file",), "invented")
        for do in JOBS
    )


def _surroundings(draw: np.random.Generator, asked: AdaptationQuestion, at: np.ndarray) -> AdaptationQuestion:
    """A zone near one feature, an edge near another, a material, a rate."""
    known: dict[str, object] = {}
    if draw.uniform() < 0.45:
        near, along = at[int(draw.integers(len(at)))], draw.uniform(0, 2 * math.pi)
        away, across = np.array([math.cos(along), math.sin(along)]), np.array([-math.sin(along), math.cos(along)])
        middle = near + draw.uniform(5.0, 45.0) * away
        corners = tuple((float(x), float(y)) for x, y in (middle - 60 * across, middle + 60 * across))
        known["donor_zones"] = (Zone("D", "Z1", str(draw.choice(["tear seam", "structural"])), corners),)  # type: ignore[arg-type]
    if draw.uniform() < 0.4:
        low = at.min(axis=0) - (float(draw.uniform(9.0, 16.0)), 60.0)
        high = at.max(axis=0) + 60.0
        ring = ((low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1]))
        known["donor_outlines"] = (Outline("D", "edge", "edge", tuple((float(x), float(y)) for x, y in ring)),)
    material = str(draw.choice(["steel", "PP moulded", "cast aluminium", "leather-covered foam", ""]))
    known["donor"] = Part("D", material=material or None, duty="trim")
    rate = None if draw.uniform() < 0.2 else 40.0
    known["settings"] = Settings(labour_rate=rate, currency="EUR", adapt_host=bool(draw.uniform() < 0.2))
    return replace(asked, **known)  # type: ignore[arg-type]
