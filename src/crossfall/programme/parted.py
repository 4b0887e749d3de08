"""A country in parts: the same choice, with segments on as many processes as there are.

Prices go out, sums by chunk come back, and are added in the network's order, so that the result is
that of one process to the last digit. A part is simulated where it is asked for and kept there as
long as there is room; a worker that is lost takes nothing along that the next one cannot make again
from its rows.
"""

from __future__ import annotations

import uuid
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError, InputError
from crossfall.model import Policy, Progress, quiet
from crossfall.model.partitions import Columns, ResultSink, SegmentSource
from crossfall.programme.block import Block, Codes, Floats, Hesitant, Rows, Singles, make_block
from crossfall.programme.certify import Certificate, conclude, examine
from crossfall.programme.choose import Choice, choose_among
from crossfall.programme.facts import SegmentFacts, table_of
from crossfall.programme.limits import Limits
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.price import N_CHUNKS, chunk_edges
from crossfall.programme.simulate import Course, course
from crossfall.programme.table import SegmentTable, StrategySet, strategy_set
from crossfall.programme.trace import trace

SEGMENTS_A_PART = 50_000
KEPT_PARTS = 64
"""Parts that a process keeps simulated; the others are made again when they are asked for."""


class Runner(Protocol):
    """Runs a function on each part, anywhere; answers come in the order of parts."""

    def run(
        self, work: Callable[..., Any], job: Job, given: Sequence[tuple[Any, ...]]
    ) -> list[Any]:
        """``work(job, part, *given[part])`` for every part."""


@dataclass(frozen=True)
class Job:
    """All that a worker needs to make any part; small, and the same for all."""

    id: str
    source: SegmentSource
    policy: Policy
    n_years: int
    bounds: tuple[int, ...]
    """Where parts begin and end; always between chunks."""
    kept_parts: int = KEPT_PARTS

    @property
    def n_parts(self) -> int:
        return len(self.bounds) - 1


@dataclass(frozen=True, eq=False)
class PartedProgramme:
    """The programme of a large network: sums by year, and where each segment's strategy lies."""

    n_segments: int
    pit_names: tuple[str, ...]
    limits: Limits
    use_minor: Floats
    use_h: Floats
    use_m3: Floats
    mean_iri: Floats
    """(year,) weighted by length."""
    mean_gravel_mm: Floats
    choice: Choice
    certificate: Certificate

    def summary(self) -> str:
        """The programme in a paragraph."""
        return (
            f"{self.n_segments:,} segments over {self.use_minor.shape[0]} years:"
            f" {self.use_minor.mean() / 100:,.0f} of money and"
            f" {self.use_m3.sum(axis=0).mean():,.0f} m³ of compacted gravel a year;"
            f" mean gravel goes from {self.mean_gravel_mm[0]:.0f} to"
            f" {self.mean_gravel_mm[-1]:.0f} mm, mean roughness from {self.mean_iri[0]:.1f} to"
            f" {self.mean_iri[-1]:.1f} m/km. No programme within these limits could be better by"
            f" more than {self.choice.gap_pct:.3f} % of the whole cost"
            f" ({self.choice.avoidable_gap_pct:.3f} % of what can be avoided)."
        )


class InProcess:
    """All parts one after another in this process; memory is bounded by ``kept_parts``."""

    def run(
        self, work: Callable[..., Any], job: Job, given: Sequence[tuple[Any, ...]]
    ) -> list[Any]:
        return [work(job, part, *each) for part, each in enumerate(given)]


class OnDask:
    """Parts on the workers of a Dask client, each on the same worker as long as that lives."""

    def __init__(self, client: Any) -> None:
        self.client = client

    def run(
        self, work: Callable[..., Any], job: Job, given: Sequence[tuple[Any, ...]]
    ) -> list[Any]:
        workers = sorted(self.client.scheduler_info(n_workers=-1)["workers"])
        if not workers:
            self.client.wait_for_workers(1, timeout=60)
            workers = sorted(self.client.scheduler_info(n_workers=-1)["workers"])
        futures = [
            self.client.submit(
                work,
                job,
                part,
                *each,
                workers=[workers[part % len(workers)]],
                allow_other_workers=True,
                pure=False,
                retries=2,
            )
            for part, each in enumerate(given)
        ]
        return list(self.client.gather(futures))


def plan_parted(
    source: SegmentSource,
    policy: Policy,
    make_limits: Callable[[tuple[str, ...]], Limits],
    *,
    n_years: int,
    runner: Runner,
    sink: ResultSink | None = None,
    first_year: int = 1,
    segments_a_part: int = SEGMENTS_A_PART,
    kept_parts: int = KEPT_PARTS,
    progress: Progress = quiet,
) -> PartedProgramme:
    """Choose a strategy for every segment of ``source`` and write them to ``sink``.

    ``make_limits`` gives the limits for the pits of the source.

    Raises
    ------
    InputError
        If a figure is impossible; names the segment.
    InfeasibleError
        If nothing keeps the limits.
    """
    job = make_job(source, policy, n_years, segments_a_part, kept_parts)
    segments = Parted(job, runner)
    limits = make_limits(source.pit_names)
    choice = choose_among(
        segments,
        limits,
        policy.programme.solve,
        progress=lambda done, message: progress(0.9 * done, message),
    )
    pieces = segments.pieces(choice.strategy)
    examined = runner.run(_examine, job, [(piece, choice.prices) for piece in pieces])
    proof = conclude(examined, choice.prices, limits.stacked(), source.pit_names)
    if not proof.is_within_limits:
        raise InfeasibleError(
            f"the programme found breaks a limit ({proof.worst_limit}, {proof.worst_share:.4f}"
            " of it is used) and is not written"
        )
    progress(0.95, "The programme is certified")
    told = runner.run(_course, job, [(piece, sink, first_year) for piece in pieces])
    weight = sum(each[0] for each in told)
    iri, gravel = (sum(each[index] for each in told) / weight for index in (1, 2))
    progress(1.0, f"{source.n:,} segments are planned")
    return PartedProgramme(
        source.n,
        source.pit_names,
        limits,
        choice.use[0],
        choice.use[1],
        choice.use[2:],
        iri,
        gravel,
        choice,
        proof,
    )


def make_job(
    source: SegmentSource, policy: Policy, n_years: int, segments_a_part: int, kept_parts: int
) -> Job:
    """Parts of whole chunks, of about ``segments_a_part`` segments."""
    if segments_a_part < 1 or kept_parts < 1:
        raise InputError("segments_a_part and kept_parts must be at least 1")
    edges = chunk_edges(source.n)
    n_parts = min(N_CHUNKS, max(1, round(source.n / segments_a_part)))
    if source.n < N_CHUNKS:
        n_parts = 1
    bounds = edges[np.arange(n_parts + 1) * N_CHUNKS // n_parts]
    return Job(
        uuid.uuid4().hex,
        source,
        policy,
        n_years,
        tuple(dict.fromkeys(int(each) for each in bounds)),
        kept_parts,
    )


class Parted:
    """All segments of a choice, in parts; answers as :class:`crossfall.programme.block.Block`."""

    def __init__(self, job: Job, runner: Runner) -> None:
        self.job, self.runner = job, runner
        self.n, self.pit_names = job.source.n, job.source.pit_names
        self.strategies: StrategySet = strategy_set(job.policy.programme.strategies)
        self._bounds = np.array(job.bounds)

    def sums_at(self, prices: Floats) -> tuple[Floats, Floats]:
        return self._joined(self._all(_sums_at, prices))

    def sums_of(self, choice: Codes, n_years: int) -> tuple[Floats, Floats]:
        given = [(piece, n_years) for piece in self.pieces(choice)]
        return self._joined(self.runner.run(_sums_of, self.job, given))

    def hesitant(self, prices: Sequence[Floats], by_chunk: Floats) -> Hesitant:
        edges = chunk_edges(self.n)
        chunk_of = np.searchsorted(edges, self._bounds, side="left")
        given = [
            (list(prices), by_chunk[:, first:last]) for first, last in pairwise(chunk_of.tolist())
        ]
        found: list[Hesitant] = self.runner.run(_hesitant, self.job, given)
        return Hesitant(
            np.concatenate([each.choice for each in found]),
            np.concatenate(
                [each.rows + low for each, low in zip(found, self._bounds[:-1], strict=True)]
            ),
            np.concatenate([each.codes for each in found], axis=1),
        )

    def regret(self, prices: Floats) -> Singles:
        return np.concatenate(self._all(_regret, prices))

    def extremes(self) -> tuple[Floats, Floats]:
        return self._joined(self._all(_extremes))

    def lasting(self) -> tuple[Singles, npt.NDArray[np.int32]]:
        found = self._all(_lasting)
        return np.concatenate([each[0] for each in found]), np.concatenate(
            [each[1] for each in found]
        )

    def rows(self, chosen: Rows) -> tuple[SegmentTable, Outcomes]:
        order = np.argsort(chosen, kind="stable")
        part = np.searchsorted(self._bounds, chosen[order], side="right") - 1
        given = [
            (chosen[order][part == index] - self._bounds[index],)
            for index in range(self.job.n_parts)
        ]
        found: list[tuple[SegmentTable, Outcomes]] = self.runner.run(_rows, self.job, given)
        back = np.argsort(order, kind="stable")
        table = SegmentTable(
            (),
            np.ascontiguousarray(
                np.concatenate([each.values for each, _ in found], axis=1)[:, back]
            ),
            np.concatenate([each.pit for each, _ in found])[back],
            self.pit_names,
        )
        return table, Outcomes(
            np.concatenate([each.cost for _, each in found])[back],
            np.concatenate([each.mask for _, each in found])[back],
        )

    def pieces(self, choice: Codes) -> list[Codes]:
        """A choice cut into parts."""
        return [choice[low:high] for low, high in pairwise(self._bounds.tolist())]

    def _all(self, work: Callable[..., Any], *given: Any) -> list[Any]:
        return self.runner.run(work, self.job, [given] * self.job.n_parts)

    @staticmethod
    def _joined(parts: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
        return np.concatenate([each[0] for each in parts]), np.concatenate(
            [each[1] for each in parts]
        )


_KEPT: OrderedDict[tuple[str, int], tuple[Block, SegmentFacts]] = OrderedDict()
"""Parts simulated in this process, the one asked for last at the end."""


def _part(job: Job, part: int) -> tuple[Block, SegmentFacts]:
    key = (job.id, part)
    if key in _KEPT:
        _KEPT.move_to_end(key)
        return _KEPT[key]
    for other in [each for each in _KEPT if each[0] != job.id]:
        del _KEPT[other]
    while len(_KEPT) >= job.kept_parts:
        _KEPT.popitem(last=False)
    low, high = job.bounds[part], job.bounds[part + 1]
    facts = facts_from(job.source.read(low, high))
    table = table_of(facts, job.policy, pit_names=job.source.pit_names)
    strategies, years = _ways(job)
    made = make_block(table, strategies, years, first=low, n_all=job.source.n), facts
    _KEPT[key] = made
    return made


def _ways(job: Job) -> tuple[StrategySet, Course]:
    programme = job.policy.programme
    return strategy_set(programme.strategies), course(programme, job.n_years)


def facts_from(columns: Columns) -> SegmentFacts:
    """Facts from a file's columns."""
    return SegmentFacts(
        ids=tuple(columns["segment_id"].tolist()),
        **{name: columns[name] for name in columns if name != "segment_id"},
    )


def facts_columns(facts: SegmentFacts) -> Columns:
    """A file's columns from facts."""
    names = (
        "length_m", "width_m", "adt", "heavy_share", "grade_pct", "road_class", "material",
        "gravel_mm", "deformation", "drainage", "gravel_minor_m3", "pit",
    )  # fmt: skip
    return {
        "segment_id": np.array(facts.ids, dtype=np.str_),
        **{name: getattr(facts, name) for name in names},
    }


def _sums_at(job: Job, part: int, prices: Floats) -> tuple[Floats, Floats]:
    return _part(job, part)[0].sums_at(prices)


def _sums_of(job: Job, part: int, choice: Codes, n_years: int) -> tuple[Floats, Floats]:
    return _part(job, part)[0].sums_of(choice, n_years)


def _hesitant(job: Job, part: int, prices: list[Floats], by_chunk: Floats) -> Hesitant:
    return _part(job, part)[0].hesitant(prices, by_chunk)


def _regret(job: Job, part: int, prices: Floats) -> Singles:
    return _part(job, part)[0].regret(prices)


def _extremes(job: Job, part: int) -> tuple[Floats, Floats]:
    return _part(job, part)[0].extremes()


def _lasting(job: Job, part: int) -> tuple[Singles, npt.NDArray[np.int32]]:
    return _part(job, part)[0].lasting()


def _rows(job: Job, part: int, chosen: Rows) -> tuple[SegmentTable, Outcomes]:
    return _part(job, part)[0].rows(chosen)


def _examine(job: Job, part: int, choice: Codes, prices: Floats) -> Any:
    block, _ = _part(job, part)
    table, outcomes = block.rows(np.arange(block.n))
    return examine(choice, prices, outcomes, table, block.strategies)


def _course(
    job: Job, part: int, choice: Codes, sink: ResultSink | None, first_year: int
) -> tuple[float, Floats, Floats]:
    """Lengths, and lengths times roughness and gravel by year; the part's result is written."""
    block, facts = _part(job, part)
    strategies, years = _ways(job)
    found = trace(choice, block.table, strategies, years)
    if sink is not None:
        names = np.array([each.id for each in strategies.nouns()])
        calendar = np.arange(years.n_years) + first_year
        due = found.is_regravelled
        sink.write(
            part,
            {
                "segment_id": np.array(facts.ids, dtype=np.str_),
                "strategy": names[choice.astype(np.int64)],
                "first_regravel": np.where(due.any(axis=0), calendar[due.argmax(axis=0)], 0),
                "n_regravels": due.sum(axis=0),
                "agency_minor": found.money_minor.sum(axis=0),
                "gravel_mm_end": found.gravel_mm[-1],
                "iri_mean": found.iri.mean(axis=0),
            },
        )
    length = facts.length_m
    return float(length.sum()), found.iri @ length, found.gravel_mm @ length
