"""One channel through one run: power states, start, baseline, noise, thresholds, observed time, excursions.

Composes the rooms of this folder. Log in, frozen `Trace` objects out; knows nothing of verdicts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from flicker.base.limits import Limits
from flicker.base.progress import tell
from flicker.base.values import Unobserved
from flicker.logs.model import Log, LogError
from flicker.logs.read_ahead import side_by_side
from flicker.signals.blocks import RunBlocks, reduce_log, split_blocks
from flicker.signals.conclusion import conclude, finish
from flicker.signals.connection.disconnection import Lapse, find_lapses
from flicker.signals.connection.movement import PICK_UP_V, TOGETHER_S
from flicker.signals.connection.open_start import first_readings
from flicker.signals.connection.second_opinion import second_opinion
from flicker.signals.connection.states import SwitchOn, find_power_ups, surges
from flicker.signals.draft import RunPiece, draft_trace, ranges_of
from flicker.signals.excursions import Scanner
from flicker.signals.guard.figures import CAME_BACK, WOKEN
from flicker.signals.mark_windows import NEAR_S, NOTHING, Hands
from flicker.signals.read_again import scan_run
from flicker.signals.spill_buffer import Stash
from flicker.signals.trace_model import RunTraces, Trace, of_channel

if TYPE_CHECKING:
    from flicker.signals.cache import BlockCache

Made = TypeVar("Made")

__all__ = ["PICK_UP_V", "RunTraces", "Trace", "of_channel", "trace_log"]

MANY_BLOCKS = 1 << 14  # from here on two channels are looked at side by side (a choice for speed),
FEW_CHANNELS = 4  # unless the blocks of more than these fill the memory: a look takes 40 MiB for 2**18 blocks; a choice
ALONG_S = 60.0  # a stretch that begins so soon after another goes on with it (choice: the guard's one definition)
STASH_SHARE = 0.65  # of the release threshold: relays that trip earlier are tried too; chosen, not measured


def trace_log(
    log: Log,
    limits: Limits,
    *,
    first_run: int = 0,
    hands: Mapping[str, Hands] | None = None,
    cache: BlockCache | None = None,
    goes_on: bool = False,
    shorted_digit_V: float | None = None,
) -> list[RunTraces]:
    """Take a log to pieces: runs, and per channel baseline, noise, observed time and excursions.

    A run begins with a stretch of the log and at each power-up found in the data. ``hands`` holds the marks of each
    channel on the log's clock. ``cache`` keeps the blocks of the log's file, or has them already.
    ``goes_on`` tells that the log continues another without a pause: no start is looked for at its beginning.
    ``shorted_digit_V`` is given for shorted leads, which show no sign of life and are observed all the same: their last digit at
    most, known from another input of the same meter, infinite where none is known.

    Raises
    ------
    LogError
        If the log holds no finite reading at all.
    """
    stash = Stash(0.5 * limits.excursion_V, STASH_SHARE * limits.release_V, limits.reconnect_s + 1.0)
    kept = None if cache is None else cache.load(log, stash, hands)
    reduced = reduce_log(log, stash, hands) if kept is None else kept
    if not any(np.any(channel.finite > 0) for blocks in reduced for channel in blocks.channels):
        raise LogError(
            f"{log.source.name}: no reading is a number; nothing can be judged. Check the meter's range and leads."
        )
    if cache is not None and kept is None:
        cache.save(log, reduced, stash, hands)
    out: list[RunTraces] = []
    done, whole = 0, sum(blocks.row.size for blocks in reduced)
    for stretch in reduced:
        pause_s = None if not out else stretch.run.pause_after(out[-1].run)
        along = goes_on if not out else pause_s is not None and pause_s < ALONG_S
        along = along and not any(item.switched_on_near(stretch.offset_s) for item in (hands or {}).values())
        for piece in _runs(stretch, limits) if shorted_digit_V is None else _uncut(stretch):
            piece = piece._replace(number=first_run + len(out), goes_on=along and piece.power_up is None)
            out.append(_trace_run(log, piece, limits, hands or {}, shorted_digit_V))
            done += piece.blocks.row.size
            tell(done, whole)
    return out


def _by_channel(work: Callable[[int], Made], blocks: RunBlocks) -> list[Made]:
    """What ``work`` makes of each channel; side by side where blocks are many and excursions leave the memory free."""
    channels = range(len(blocks.channels))
    spilt = blocks.stash is not None and blocks.stash.spilt
    if not 1 < len(channels) <= FEW_CHANNELS or blocks.row.size < MANY_BLOCKS or spilt:
        return [work(k) for k in channels]
    return [made for _, made in side_by_side(work, channels)]


def _uncut(stretch: RunBlocks) -> list[RunPiece]:
    """A stretch in which nothing is looked for: all of it is observed."""
    nothing: list[list[Lapse]] = [[] for _ in stretch.channels]
    return [RunPiece(stretch, nothing, nothing, None)]


def _runs(stretch: RunBlocks, limits: Limits) -> list[RunPiece]:
    """Split a stretch at its power-ups; a head in which the unit was off is no run of its own."""
    digits = [part.digit_V for part in stretch.channels]

    def lapses_of(k: int) -> list[Lapse]:
        return find_lapses(
            stretch,
            k,
            ranges=ranges_of(stretch, k, digits[k], ()),
            protection_V=limits.protection_V,
            band_V=limits.settle_band_V,
        )

    every = _by_channel(lapses_of, stretch)
    power_ups, found = find_power_ups(stretch, every, band_V=limits.settle_band_V, resolutions_V=digits)
    power_ups, found = as_guarded(stretch, power_ups, found, limits.settle_band_V)
    lapses, doubts = second_opinion(stretch, found, [item.block for item in power_ups], digits)
    pieces = split_blocks(stretch, [item.block for item in power_ups])
    out: list[RunPiece] = []
    for number, blocks in enumerate(pieces):
        first = power_ups[number - 1].block if number else 0
        own, unsure = (
            [[_shifted(lapse, first, blocks) for lapse in part if _touches(lapse, first, blocks)] for part in listed]
            for listed in (lapses, doubts)
        )
        whole = blocks.row.size
        if number == 0 and power_ups and all(any(x.first <= 2 and x.last >= whole for x in part) for part in own):
            note = f"the log begins {blocks.run.duration_s:.0f} s before the unit was switched on"
            pieces[1] = replace(pieces[1], run=replace(pieces[1].run, notes=(*blocks.run.notes, note)))
            continue
        out.append(RunPiece(blocks, own, unsure, power_ups[number - 1] if number else None))
    return out


def as_guarded(
    stretch: RunBlocks, power_ups: Sequence[SwitchOn], lapses: Sequence[list[Lapse]], band_V: float
) -> tuple[list[SwitchOn], list[list[Lapse]]]:
    """Add where the guard saw the whole unit switched off and on: there is one definition of a power-up."""
    found, out, figures = list(power_ups), [list(part) for part in lapses], stretch.guard
    for number in [] if figures is None else np.flatnonzero(np.isin(figures.kind, CAME_BACK)).tolist():
        assert figures is not None
        begin_s, off_s = float(figures.begin_s[number]), float(figures.end_s[number - 1])
        block = int(np.searchsorted(stretch.end_s, begin_s))
        if not 0 < block < stretch.row.size:
            continue
        at_s = float(stretch.begin_s[block])
        near = [item for item in found if abs(item.time_s - begin_s) <= TOGETHER_S]
        if near:  # blocks say about when it was, readings say when
            found = [item for item in found if item not in near]
            found.append(SwitchOn(block, at_s, max(item.off_before_s for item in near)))
            ends = {item.block for item in near}
            out = [[replace(x, last=block, end_s=at_s) if x.last in ends and x.first < block else x for x in part] for part in out]
            continue
        first = int(np.searchsorted(stretch.begin_s, off_s))
        found.append(SwitchOn(block, at_s, begin_s - off_s))
        # In one channel, an offset that was gone and comes back by a step that stays is the fault, told and not left out.
        falls = len(out) > 1 or figures.kind[number] == WOKEN or surges(stretch, block, band_V)
        off = Lapse(first, block, float(stretch.begin_s[first]), at_s, Unobserved.SWITCHED_OFF, sure=falls, told=not falls)
        for part in out:
            part[:] = [lapse for lapse in part if lapse.last <= first or lapse.first >= block]
            part.append(off)
    return sorted(found, key=lambda item: item.block), [sorted(part, key=lambda lapse: lapse.first) for part in out]


def _touches(lapse: Lapse, first: int, blocks: RunBlocks) -> bool:
    return lapse.first < first + blocks.row.size and lapse.last > first


def _shifted(lapse: Lapse, first: int, blocks: RunBlocks) -> Lapse:
    end_s = float(blocks.end_s[-1]) + blocks.run.sample_interval_s
    a, b = max(lapse.first - first, 0), min(lapse.last - first, blocks.row.size)
    return replace(
        lapse,
        first=a,
        last=b,
        begin_s=float(blocks.begin_s[a]),
        end_s=float(blocks.begin_s[b]) if b < blocks.row.size else end_s,
    )


def _by_hand(
    lapses: Sequence[Lapse], doubts: Sequence[Lapse], breaks_s: Sequence[float]
) -> tuple[list[Lapse], list[Lapse]]:
    """What is left out, and what is a doubt: a channel that falls to zero where a mark says that it was set is a doubt.

    A trimmer, or a meter's key for zero, takes a rest away as a lead that is left off does; the guard asks the noise which it was.
    """
    set_by_hand = [x.reason == Unobserved.STILL and any(abs(x.begin_s - at_s) <= NEAR_S for at_s in breaks_s) for x in lapses]
    kept = [x for x, by_hand in zip(lapses, set_by_hand, strict=True) if not by_hand]
    more = [x for x, by_hand in zip(lapses, set_by_hand, strict=True) if by_hand]
    return kept, sorted([*doubts, *more], key=lambda x: x.first)


def _trace_run(log: Log, piece: RunPiece, limits: Limits, hands: Mapping[str, Hands], digit_V: float | None) -> RunTraces:
    blocks = piece.blocks
    length_s = blocks.run.duration_s + blocks.run.sample_interval_s
    mine = [hands.get(name, NOTHING).on_clock(blocks.run.offset_s, length_s) for name in log.channels]
    judged = [_by_hand(left_out, unsure, own.breaks_s) for left_out, unsure, own in zip(piece.lapses, piece.doubts, mine, strict=True)]
    piece = piece._replace(lapses=[kept for kept, _ in judged], doubts=[unsure for _, unsure in judged])
    first = first_readings(log, blocks)
    drafts = _by_channel(lambda k: draft_trace(piece, k, log.channels[k], first[k], mine[k], limits, digit_V), blocks)
    scanners = [
        None
        if draft.baseline is None
        else Scanner(
            draft.baseline.at,
            draft.enter_V,
            draft.leave_V,
            blocks.run.sample_interval_s,
            recover_s=limits.recover_s,
            upper_V=draft.ranges.upper_V,
            changes_s=draft.ranges.changes_s,
        )
        for draft in drafts
    ]
    found = scan_run(log, blocks, scanners)
    traces = tuple(
        conclude(finish(draft, part, blocks, limits), blocks, k, piece.lapses[k], limits, piece.doubts[k])
        for k, (draft, part) in enumerate(zip(drafts, found, strict=True))
    )
    return RunTraces(blocks.run, piece.number, blocks, traces)
