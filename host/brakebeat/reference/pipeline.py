"""From a recording to fits, strokes and φ = 0: what every result of the reference is read from."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from brakebeat.formats.recording import Recording
from brakebeat.reference.blocks import blocks
from brakebeat.reference.bounds import release_rad, stroke_bounds
from brakebeat.reference.curve.chain import Chain, join_runs, lone
from brakebeat.reference.curve.coming import Habit, with_the_pulls_coming
from brakebeat.reference.curve.ends import Stroke, locate_strokes, parted
from brakebeat.reference.curve.exchange import exchanged
from brakebeat.reference.curve.fit import Fit, fit_chains
from brakebeat.reference.curve.identity import Marks, recognise
from brakebeat.reference.curve.outer import trim_end, trim_start
from brakebeat.reference.curve.scale_search import find_noise, refine_noise
from brakebeat.reference.curve.slight import without_slight
from brakebeat.reference.curve.strokes import (
    EdgeRun,
    alternating,
    cut_runs,
    leads_somewhere,
    longest_gap_s,
    reread,
)
from brakebeat.reference.curve.system import shift_prior
from brakebeat.reference.edges import EdgeTrain, edge_train
from brakebeat.reference.model.likelihood import Faults, Scales
from brakebeat.reference.model.noise import Noise
from brakebeat.reference.model.scales import measure_scales
from brakebeat.reference.model.spline import Array, Integers
from brakebeat.reference.path.clean import Path
from brakebeat.reference.path.faults import best_path, measured
from brakebeat.reference.turnaround.manners import usual_manner
from brakebeat.reference.turnaround.reading import Model, Nearby
from brakebeat.reference.turnaround.side import Manner
from brakebeat.reference.turnaround.turns import NEAR, Turning, resolve
from brakebeat.reference.understanding import Section, Understanding
from brakebeat.reference.zero import Bounds, Releases, Turns, Zero, find_zero

# Up to so many magnets each gets an offset of its own; an encoder's disc is taken as even.
MOST_MAGNETS = 24
FEWEST_EDGES = 4
_BOUNCE_S = 0.003
# A gap this much longer than a turn straight round takes may hold a rest.
_RESTED = 1.3
# What turnarounds taught of the shift is no better than the course assumed through them.
_SHIFT_DOUBT_RAD = 0.008


def understand(recording: Recording) -> Understanding:
    """Clean, cut, turn, fit, place: all of a recording, kept at once."""
    parts = list(understood(recording))
    return Understanding(
        parts[0].origin_us,
        sum(part.bounced for part in parts),
        sum(part.missed for part in parts),
        sum(part.spurious for part in parts),
        [section for part in parts for section in part.sections],
    )


def understood(recording: Recording) -> Iterator[Understanding]:
    """The same block by block, so that a long recording need not be kept all at once."""
    train, zero_index = edge_train(recording), recording.rig.zero_index
    # Where φ = 0 is known by an edge, that edge's block alone would know it.
    for block in blocks(train) if zero_index is None else [train]:
        yield _understand(block, zero_index)


def _understand(train: EdgeTrain, zero_index: int | None) -> Understanding:
    if len(train.t_s) < FEWEST_EDGES:
        return Understanding(train.origin_us, 0, 0, 0, [])
    scales = measure_scales(train.t_s, train.spacing_rad, train.per_rev)
    if train.count is not None:
        path = encoder_path(train)
        faults = measured(path, train.t_s)
    else:
        path, faults = best_path(train, scales)
    extra = ~path.real
    bounced, spurious = int((extra & path.bounce).sum()), int((extra & ~path.bounce).sum())
    runs = cut_runs(train.t_s, path, scales)
    if not runs:
        return Understanding(train.origin_us, bounced, path.missed, spurious, [])
    magnets = train.per_rev if 1 < train.per_rev <= MOST_MAGNETS else 0
    sections = _sections(train, runs, magnets, scales, faults, zero_index)
    found = [run for section in sections for run in section.fit.chain.runs]
    kept = without_slight(found)
    if len(kept) < len(found) and any(section.wide() > section.passing() for section in sections):
        # Whole strokes that do not pass φ = 0 are no strap's.
        other = _sections(train, kept, magnets, scales, faults, zero_index)
        if sum(section.passing() for section in other) > sum(section.passing() for section in sections):
            spurious += _edges(sections) - _edges(other)
            sections = other
    return Understanding(train.origin_us, bounced, path.missed, spurious, sections)


def _edges(sections: list[Section]) -> int:
    """How many edges are taken for magnets'."""
    return sum(len(section.fit.chain.t_s) for section in sections)


def _sections(
    train: EdgeTrain,
    runs: list[EdgeRun],
    magnets: int,
    scales: Scales,
    faults: Faults,
    zero_index: int | None,
) -> list[Section]:
    fits, habit = _fits(train, runs, magnets, scales, faults)
    strokes = parted([locate_strokes(fit, habit) for fit in fits])
    return [_section(fit, own, train, zero_index) for fit, own in zip(fits, strokes, strict=True)]


def encoder_path(train: EdgeTrain) -> Path:
    """A dense encoder's edges are what they say they are."""
    n = len(train.t_s)
    count = train.count if train.count is not None else np.zeros(n, np.int64)
    return Path(np.ones(n, bool), count, train.step.astype(np.int64), np.zeros(n, bool), 0)


def _fits(
    train: EdgeTrain, runs: list[EdgeRun], magnets: int, scales: Scales, faults: Faults
) -> tuple[list[Fit], Habit]:
    """Scales from the strokes alone, then turnarounds, then the joint fit; once more with what that taught. And how
    the pulls come."""
    t_s = train.t_s
    alone = [lone(run) for run in runs]
    noise = find_noise(alone, scales.spacing_rad, Noise())
    singles = fit_chains(alone, magnets, scales.spacing_rad, noise, scales.accel_rad_s2)
    doubted = []
    for number, single in enumerate(singles):
        free = _free_between(runs, number - 1, number + 1, len(t_s))
        better = exchanged(runs[number], single, t_s, free)
        if better is not None:
            runs[number], alone[number] = better, lone(better)
            doubted.append(number)
    again = [alone[number] for number in doubted]
    refitted = fit_chains(again, magnets, scales.spacing_rad, noise, scales.accel_rad_s2)
    for number, single in zip(doubted, refitted, strict=True):
        singles[number] = single
    if magnets:
        noise = refine_noise(singles)
    marks = Marks(runs, recognise(singles), [fit.offsets_rad for fit in singles], train.count)
    shift, shift_sd = shift_prior(scales.spacing_rad)
    model = Model(
        scales.spacing_rad,
        _rough(noise, alone),
        scales.accel_rad_s2,
        shift_rad=shift,
        shift_sd_rad=2.0 * shift_sd,
        faults=faults,
    )
    trimmed = _trimmed(t_s, runs, singles, model)
    longest = longest_gap_s(scales)
    kept = [run for at, run in enumerate(runs) if leads_somewhere(trimmed, at, longest)]
    if 0 < len(kept) < len(runs):
        # What was left of the others were faults; without them their neighbours may read otherwise.
        return _fits(train, alternating(kept), magnets, scales, faults)
    runs = trimmed
    untold: list[Turning | None] = [None] * len(runs)
    direct = [not _rested(before, after, model) for before, after in itertools.pairwise(runs)]
    models = _mannered(t_s, runs, [model] * len(runs), marks, direct)
    runs, turnings = _resolve(t_s, runs, models, marks, untold)
    manner = models[0].manner
    fits = _fit_all(runs, turnings, magnets, scales, noise, manner)
    righted = _exchanged_again(t_s, runs, fits)
    if righted is not None:
        runs = righted
        fits = _fit_all(runs, turnings, magnets, scales, noise, manner)
    noise = refine_noise(fits)
    models = _taught(fits, dataclasses.replace(model, manner=manner), noise)
    straight = [turning is not None and turning.rest_s == 0.0 for turning in turnings]
    if any(was and not proved for was, proved in zip(direct, straight, strict=True)):
        # Some of those that told the manner were rests after all.
        models = _mannered(t_s, runs, models, marks, straight)
    runs, turnings = _resolve(t_s, runs, models, marks, turnings)
    turnings, habit = with_the_pulls_coming(models, turnings)
    return _fit_all(runs, turnings, magnets, scales, noise, models[0].manner), habit


def _exchanged_again(t_s: Array, runs: list[EdgeRun], fits: list[Fit]) -> list[EdgeRun] | None:
    """The runs with wrong edges exchanged that only all strokes together show; None if all stay.

    Near a turnaround a stroke alone bends to a wrong edge, and it knows the magnets' places worse.
    """
    places = [(fit, own) for fit in fits for own in fit.chain.slices]
    better = list(runs)
    for number, (fit, own) in enumerate(places):
        free = _free_between(better, number - 1, number + 1, len(t_s))
        better[number] = exchanged(runs[number], fit, t_s, free, own) or runs[number]
    return better if any(new is not old for new, old in zip(better, runs, strict=True)) else None


def _trimmed(t_s: Array, runs: list[EdgeRun], singles: list[Fit], model: Model) -> list[EdgeRun]:
    """The runs with the edges put right where the wheel set off from rest or came to it."""
    trimmed = list(runs)
    for number, single in enumerate(singles):
        if number == 0 or _rested(runs[number - 1], runs[number], model):
            free = _free_between(trimmed, number - 1, number + 1, len(t_s))
            trimmed[number] = trim_start(trimmed[number], t_s, free, single.offsets_rad, model)
        if number + 1 == len(runs) or _rested(runs[number], runs[number + 1], model):
            # The table counts from the run's first edge as first read.
            shift = int(runs[number].place[-1] - trimmed[number].place[-1]) * runs[number].sense
            table = np.roll(single.offsets_rad, -shift)
            free = _free_between(trimmed, number - 1, number + 1, len(t_s))
            trimmed[number] = trim_end(trimmed[number], t_s, free, table, model)
    return trimmed


def _free_between(runs: list[EdgeRun], before: int, after: int, edges: int) -> Integers:
    """Edges in no run that lie between the end of one run and the start of another: only those are to be had."""
    low = int(runs[before].row[-1]) + 1 if before >= 0 else 0
    high = int(runs[after].row[0]) if after < len(runs) else edges
    taken = np.concatenate([run.row for run in runs[before + 1 : after]])
    return np.setdiff1d(np.arange(low, high), taken)


def _rested(before: EdgeRun, after: EdgeRun, model: Model) -> bool:
    """Whether the wheel stood still between two runs, or may have for long enough to see faults meanwhile."""
    straight = 2.0 * np.sqrt(2.0 * model.spacing_rad / model.usual_accel_rad_s2)
    return not after.turned or bool(after.t_s[0] - before.t_s[-1] > _RESTED * straight)


def _rough(noise: Noise, chains: list[Chain]) -> Noise:
    """The noise with the jerk density that a stroke shows without its bursts being told apart."""
    ease = np.concatenate([chain.ease for chain in chains])
    return dataclasses.replace(noise, jerk_density=noise.jerk_density * float(np.median(1.0 / ease)))


def _taught(fits: list[Fit], model: Model, noise: Noise) -> list[Model]:
    """For each run the turn model with its chain's offsets, turned to the run's last edge, and shift."""
    models = []
    for fit in fits:
        taught = dataclasses.replace(
            model,
            noise=_rough(noise, [fit.chain]),
            shift_rad=fit.shift_rad,
            shift_sd_rad=float(np.sqrt(fit.shared_covariance[-1, -1] + _SHIFT_DOUBT_RAD**2)),
        )
        for edges in fit.chain.slices:
            last = int(fit.chain.place[edges.stop - 1])
            models.append(dataclasses.replace(taught, offsets_rad=np.roll(fit.offsets_rad, -last)))
    return models


def _mannered(
    t_s: Array, runs: list[EdgeRun], models: list[Model], marks: Marks, direct: Sequence[bool]
) -> list[Model]:
    """The models with the manner of the turnarounds between the runs, as they are read; ``direct``: which of them may
    do without a rest, since only those tell it."""
    last_row = [int(run.row[-1]) for run in runs]
    every = sorted(number for group in _apart(runs) for number in group)
    numbers = [number for number in every if direct[number]]
    nears = [_placed(t_s, runs, number, last_row[number], marks)[0] for number in numbers]
    manner = usual_manner([models[number] for number in numbers], nears, len(every))
    return [dataclasses.replace(model, manner=manner) for model in models]


def _resolve(
    t_s: Array,
    runs: list[EdgeRun],
    models: list[Model],
    marks: Marks,
    settled: Sequence[Turning | None],
) -> tuple[list[EdgeRun], list[Turning | None]]:
    """The turning after each run but the last (None where the chain breaks), and the runs as it reads them."""
    last_row = [int(run.row[-1]) for run in runs]
    runs = list(runs)
    turnings: list[Turning | None] = [None] * (len(runs) - 1)
    for numbers in _apart(runs):
        around = [_placed(t_s, runs, number, last_row[number], marks) for number in numbers]
        found = resolve(
            [models[number] for number in numbers],
            [near for near, _ in around],
            [settled[number] for number in numbers],
        )
        for number, turning, (_, window) in zip(numbers, found, around, strict=True):
            turnings[number] = turning
            runs[number], runs[number + 1] = reread(runs[number], runs[number + 1], t_s, turning.near, window)
    return runs, turnings


def _apart(runs: list[EdgeRun]) -> list[list[int]]:
    """The turnarounds, each by the number of the run before it, in groups that can be looked at at once: of neighbours
    that may look at the same edges every other one, all others together."""
    groups: list[list[int]] = [[], []]
    for number, (before, after) in enumerate(itertools.pairwise(runs)):
        fewest = min(len(before.t_s), len(after.t_s))
        if after.turned and fewest >= 2:
            groups[number % 2 if fewest < 2 * NEAR else 0].append(number)
    return groups


def _placed(
    t_s: Array, runs: list[EdgeRun], number: int, last_row: int, marks: Marks
) -> tuple[Nearby, Integers]:
    """The edges around the turnaround after a run, with what the strokes' marks say of them, and their numbers."""
    near, window = _nearby(t_s, runs[number], runs[number + 1], last_row)
    told = dataclasses.replace(
        near,
        distance_cost=marks.distance_cost(number, window[0], window[-1]),
        offset_rad=marks.offsets_of(number, window),
        way=marks.way(runs[number], runs[number + 1]),
    )
    return told, window


def _nearby(t_s: Array, before: EdgeRun, after: EdgeRun, last_row: int) -> tuple[Nearby, Integers]:
    """The edges around a turnaround, and their numbers among all edges ``t_s``; places count from ``last_row``."""
    left, right = before.row[-NEAR:], after.row[:NEAR]
    window = np.arange(int(left[0]), int(right[-1]) + 1)
    used = np.isin(window, left) | np.isin(window, right)
    # Faults right behind an edge are its bounces and stay what they are.
    gap = np.diff(t_s[window], prepend=-np.inf)
    kept = used | (gap > _BOUNCE_S)
    window, used = window[kept], used[kept]
    steps = np.ones(len(window), dtype=np.int64)
    steps[np.isin(window, left)] = np.append(1, np.diff(before.place[-NEAR:]))
    steps[np.isin(window, right)] = np.append(1, np.diff(after.place[:NEAR]))
    at = min(int(np.searchsorted(before.row, last_row)), len(before.row) - 1)
    base = before.sense * int(before.place[-len(left)] - before.place[at])
    return Nearby(t_s[window], used, steps, len(left), base, before.sense), window


def _fit_all(
    runs: list[EdgeRun],
    turnings: list[Turning | None],
    magnets: int,
    scales: Scales,
    noise: Noise,
    manner: Manner,
) -> list[Fit]:
    chains = []
    start = 0
    for number in range(len(runs)):
        if number + 1 == len(runs) or turnings[number] is None:
            inner = [turning for turning in turnings[start:number] if turning is not None]
            chains.append(join_runs(runs[start : number + 1], inner))
            start = number + 1
    return fit_chains(chains, magnets, scales.spacing_rad, noise, scales.accel_rad_s2, manner)


def _section(fit: Fit, strokes: list[Stroke], train: EdgeTrain, zero_index: int | None) -> Section:
    return Section(fit, strokes, _zero(fit, strokes, _marked(fit, train, zero_index)))


def _marked(fit: Fit, train: EdgeTrain, zero_index: int | None) -> Bounds | None:
    """The angles next to the edge that a calibration named as nearest to φ = 0; None if this chain has none."""
    if zero_index is None or not len(train.row):
        return None
    # A thinned encoder keeps but some edges: the nearest of those.
    kept = int(np.argmin(np.abs(train.row - zero_index)))
    rows = np.concatenate([run.row for run in fit.chain.runs])
    at = np.flatnonzero(rows == kept)
    if not len(at):
        return None
    angle = float(fit.angle_rad[at[0]])
    half = 0.5 * fit.spacing_rad
    return Bounds(angle - half, angle + half)


def _zero(fit: Fit, strokes: list[Stroke], marked: Bounds | None) -> Zero | None:
    """φ = 0 from all strokes of a chain: their turnarounds lie on either side of it."""
    ends = [(strokes[0].begin, -strokes[0].sense)] if strokes else []
    ends += [(stroke.finish, stroke.sense) for stroke in strokes]
    known = [(end.angle_rad, side) for end, side in ends if end.known]
    turns = Turns(*_columns(known))
    wide = [s for s in strokes if abs(s.finish.angle_rad - s.begin.angle_rad) > 2.0 * fit.spacing_rad]
    return find_zero(turns, _releases(wide), [stroke_bounds(stroke) for stroke in wide], marked)


def _releases(strokes: list[Stroke]) -> Releases:
    found = [(release_rad(stroke), stroke) for stroke in strokes]
    told = [(angle, stroke) for angle, stroke in found if angle is not None]
    begin = [stroke.begin.angle_rad if stroke.begin.known else np.nan for _, stroke in told]
    return Releases(*_columns([(angle, stroke.sense) for angle, stroke in told]), np.asarray(begin, float))


def _columns(rows: list[tuple[float, int]]) -> tuple[Array, Integers]:
    return np.array([angle for angle, _ in rows]), np.array([sign for _, sign in rows], dtype=np.int64)
