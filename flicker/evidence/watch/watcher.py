"""The watch: live channels in; episodes, alarms and a decision that stands however often one looks out.

The rule is fixed before the first sample and printed. 'Recurs' and 'clean enough' are decided by a pair of likelihood
ratios, the error split over the channels. 'Recurs' stands. After 'clean enough' the test begins anew, so that hours that were
clean do not outweigh a fault that comes late, and 'clean enough' is taken back if it then says 'recurs'.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from flicker.base import check
from flicker.base.arrays import Bools, Floats
from flicker.base.formats import hours_text, lasting_text, seconds_text, times_text, volts_text
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.evidence.guard.words import reasons_text
from flicker.evidence.record.channel_record import SHORT_S
from flicker.evidence.watch.followed import FEWEST, Followed, LiveGuard, Starts, moment
from flicker.evidence.watch.restarts import Restarts
from flicker.evidence.watch.watching import (
    CLEAN,
    GO_ON,
    RECURS,
    STAYS,
    ChannelState,
    Event,
    OfflineVerdict,
    WatchSummary,
    design,
)  # fmt: skip
from flicker.logs.growing import Fresh
from flicker.signals.excursions import near_s
from flicker.signals.guard.figures import CELL_S
from flicker.signals.live import LiveChannel, LiveEpisode
from flicker.stats.sequential import rate_bounds

TOGETHER_S = 3.0  # beyond the dead time: so long an episode waits for its like in another channel; chosen, not measured
LOOK_S = 10.0  # between two looks at the level: a choice
SILENT_S = 30.0  # without a reading, and more than twenty steps: chosen, not measured


class Watcher:
    """Follows all channels of one log.

    Parameters
    ----------
    channels : sequence of str
        Names, in the order of the samples.
    cadence_s : float
        Seconds from sample to sample.
    limits : Limits, optional
        Thresholds and the two rates: ``nuisance_rate_per_h`` should pass, ``episode_rate_per_h`` should be caught.
    good_rate_per_h, bad_rate_per_h : float, optional
        The two rates, where they differ from the limits.
    bursts : float
        Dispersion (variance over mean of counts) to be reckoned with from the start, 1 for episodes that come singly. A
        clean log cannot show bursts, so what they cost must be told before.

    Raises
    ------
    ValueError
        If there is no channel, or the rates are not positive and in order.
    """

    def __init__(
        self,
        channels: Sequence[str],
        *,
        cadence_s: float,
        limits: Limits | None = None,
        good_rate_per_h: float | None = None,
        bad_rate_per_h: float | None = None,
        bursts: float = 1.0,
    ) -> None:
        self.limits = limits or Limits()
        if not channels:
            raise ValueError("channels must name one channel or more, got none")
        cadence_s = check.positive("cadence_s", cadence_s, what="seconds from sample to sample")
        self.design, self.rule = design(channels, self.limits, good_rate_per_h, bad_rate_per_h, bursts)
        self.channels = [Followed(name, LiveChannel(self.limits, cadence_s=cadence_s), self.rule) for name in channels]
        self.cadence_s = cadence_s
        self.samples = 0
        self.runs = 0
        self.run = -1
        self._starts: Starts = {}
        self.now_s = 0.0
        self.alarms: deque[Event] = deque(maxlen=100)
        self._waiting: list[tuple[Followed, LiveEpisode]] = []
        self._guard = LiveGuard(len(self.channels), cadence_s, self.limits)
        self._restarts = Restarts(cadence_s)

    @property
    def decided(self) -> bool:
        """Whether every channel has its decision."""
        return all(item.decision != GO_ON for item in self.channels)

    def feed(self, fresh: Fresh) -> list[Event]:
        """Take new samples; returns what happened, in order."""
        self._border(fresh)
        out: list[Event] = []
        # Looked at every ten seconds of the log, however much of it comes at once.
        look = np.floor(fresh.time_s / LOOK_S)
        edges = [0, *(np.flatnonzero(np.diff(look)) + 1).tolist(), fresh.time_s.size]
        for lo, hi in itertools.pairwise(edges):
            out.extend(self._look(fresh.time_s[lo:hi], [column[lo:hi] for column in fresh.values]))
        return out

    def _border(self, fresh: Fresh) -> None:
        """Begin a run, or note a gap."""
        if fresh.run != self.run:
            self.run = fresh.run
            self._starts[fresh.run] = fresh.start
            self.runs += 1
            self._guard.begin()
            self._restarts = Restarts(self.cadence_s)
            for item in self.channels:
                begun = item.live.begin_run(fresh.run, goes_on=fresh.goes_on)
                self._waiting.extend((item, episode) for episode in begun)
                item.unseen.restart(fresh.start)
                item.volts.restart(run=True, start=fresh.start)
        elif fresh.after_gap:
            for item in self.channels:
                self._waiting.extend((item, episode) for episode in item.live.gap())
                item.volts.restart(run=False)

    def _look(self, time_s: Floats, columns: Sequence[Floats]) -> list[Event]:
        if time_s.size == 0:
            return []
        out: list[Event] = []
        self.samples += int(time_s.size)
        self._guard.feed(time_s, columns)
        self._restarts.feed(time_s, columns)
        some = np.logical_or.reduce([~np.isnan(values) for values in columns]) | (len(columns) == 1)
        for item, values in zip(self.channels, columns, strict=True):
            out.extend(self._blanks(item, time_s, values, some))
            alarms = item.volts.feed(self.run, time_s, values, item.live.settled)
            out.extend(self._alarm(item, kind, text) for kind, text in alarms)
            was_alive = item.live.alive
            self._waiting.extend((item, episode) for episode in item.live.feed(time_s, values))
            if was_alive and not item.live.alive:
                out.append(
                    self._alarm(
                        item,
                        "lost signs of life",
                        f"the reading stands still as it never did, at {volts_text(item.live.last_V)}: lead, meter or unit off?"
                        " Hours from here on do not count",
                    )
                )
            out.extend(self._rests(item))
        self.now_s = float(time_s[-1])
        out.extend(self._booked())
        out.extend(self._decisions())
        return out

    def _rests(self, item: Followed) -> list[Event]:
        """Tell at once, once a run, of a rest too far from zero: swings are counted from it, so it is no swing itself."""
        level, key = item.live.level_V, f"rest {self.run}"
        if not item.live.settled or not abs(level) > self.limits.settled_offset_V or key in item.told:
            return []
        item.told = {word for word in item.told if not word.startswith("rest ")} | {key}
        most = volts_text(self.limits.settled_offset_V)
        text = f"rests at {volts_text(level)}, where {most} is the limit: no loudspeaker; look at the input pair and its bias"
        return [self._alarm(item, "rest", text)]

    def silent(self, seconds: float) -> Event | None:
        """Tell that no reading came for so long (by the clock on the wall); an alarm once per silence."""
        told = self.channels[0].told
        if seconds < max(SILENT_S, 20.0 * self.cadence_s):
            told.discard("silent")
        elif "silent" not in told:
            told.add("silent")
            return self.blind(f"no new reading for {seconds:.0f} s: is the logger running?", "silent")
        return None

    def blind(self, text: str, kind: str) -> Event:
        """Tell of all channels that nothing comes, or nothing that can be read: an alarm, for it may be volts."""
        event = Event(event="alarm", channel=None, run=max(self.run, 0), time_s=self.now_s, text=text, kind=kind)
        self.alarms.append(event)
        return event

    def finish(self) -> list[Event]:
        """End of the watch: book what is still open and decide a last time."""
        for item in self.channels:
            self._waiting.extend((item, episode) for episode in item.live.finish())
        return [*self._booked(everything=True), *self._decisions()]

    # ------------------------------------------------------------ alarms

    def _blanks(self, item: Followed, time_s: Floats, values: Floats, some: Bools) -> list[Event]:
        """What is told of a channel that alone has no reading (rule for a clearance, blanks)."""
        rest, away = item.live.level_V, item.live.enter_V
        if not item.live.settled:
            rest, away = 0.0, self.limits.protection_V
        out = []
        for told in item.unseen.feed(time_s, values, some, rest, away):
            if told.begun:
                out.append(self._alarm(item, "not seen", told.text))
            else:
                out.append(self._event("note", item, told.text, "seen again", told.time_s))
        return out

    def _alarm(self, item: Followed, kind: str, text: str) -> Event:
        item.alarms += 1
        event = self._event("alarm", item, text, kind, item.live.last_s)
        self.alarms.append(event)
        return event

    def _event(self, event: str, item: Followed, text: str, kind: str, time_s: float) -> Event:
        told = f"{item.name}: {text}"
        return Event(event=event, channel=item.name, run=self.run, time_s=time_s, text=told, kind=kind)

    # ------------------------------------------------------------ counting and deciding

    def _booked(self, *, everything: bool = False) -> list[Event]:
        """Count episodes that are final; those of all channels at once are the room's.

        An episode waits a few seconds more than the dead time, so that its like in another channel is there to see.
        """
        out = []
        wait_s = self.limits.dead_time_s + max(TOGETHER_S, 4.0 * self.cadence_s)
        due = [
            (item, episode)
            for item, episode in self._waiting
            if everything
            or episode.run != self.run
            or (not self._restarts.may_be(episode) and (episode.long or self.now_s - episode.end_s >= wait_s))
        ]
        self._waiting = [pair for pair in self._waiting if pair not in due]
        due = [pair for pair in due if pair[1].run != self.run or not self._restarts.is_one(pair[1])]
        for item, episode in due:
            item.recent.append(episode)
        for item, episode in due:
            common = len(self.channels) > 1 and not episode.long and all(
                self._alike(episode, [*other.recent, *(e for who, e in self._waiting if who is other)])
                for other in self.channels
                if other is not item
            )
            if common:
                item.common += 1
            else:
                item.count += 1
                item.bursts.add(episode.clock_s)
                item.filled |= episode.long
                item.largest_V = max(item.largest_V or 0.0, abs(episode.deviation_V))
            lasts = episode.end_s - episode.start_s
            size = f"over range, at least {volts_text(abs(episode.deviation_V))}," if episode.over_range else ""
            text = f"{item.name}: swing of {size or volts_text(episode.deviation_V)} at {moment(self._starts.get(episode.run), episode.start_s)}"
            text += f", and stays ({lasts:.0f} s so far)" if episode.long else f", {seconds_text(lasts)} long"
            out.append(
                Event(
                    event="episode",
                    channel=item.name,
                    run=episode.run,
                    time_s=episode.start_s,
                    text=text + (" (all channels at once)" if common else ""),
                    kind="common" if common else "own",
                    deviation_V=episode.deviation_V,
                    duration_s=lasts,
                )
            )
        return out

    def _alike(self, episode: LiveEpisode, others: Sequence[LiveEpisode]) -> bool:
        if episode.end_s - episode.start_s > SHORT_S:
            return False
        near = near_s(self.cadence_s)
        return any(
            found.run == episode.run
            and abs(found.start_s - episode.start_s) <= near
            and abs(found.end_s - episode.end_s) <= max(near, 2.0)
            for found in others
        )

    def _decisions(self) -> list[Event]:
        out = []
        for item in self.channels:
            if item.decision == RECURS:
                continue
            hours = item.live.observed_s / HOUR
            count, since_h = item.count - item.tested_count, hours - item.tested_h
            phi = max(item.bursts.dispersion(item.live.observed_s), item.rule.dispersion)
            # The k-th test after 'clean enough' may err with 1/(k(k+1)) of the error, so that all of them share it (Bonferroni).
            harder = math.log(item.clean_tests * (item.clean_tests + 1)) if item.clean_tests else 0.0
            rule = item.rule
            if phi != rule.dispersion or harder:
                rule = replace(rule, dispersion=phi, log_upper=rule.log_upper + harder)
            decision: str = rule.decide(count, since_h)
            if item.filled:
                decision = RECURS
            elif decision == CLEAN and (item.live.pending or any(who is item for who, _ in self._waiting)):
                decision = GO_ON  # what is open now is not booked yet
            if decision == CLEAN:
                refused = self._refused(item)
                if refused is not None:
                    out.extend(refused)
                    item.decision, decision = GO_ON, GO_ON
            if decision == GO_ON:
                continue
            was, item.decision = item.decision, decision
            if decision == CLEAN:
                item.clean_tests += 1
                item.tested_count, item.tested_h = item.count, hours
            if was == decision:
                continue
            item.decided_at_h = hours
            why = f"{times_text(count)} in {hours_text(since_h)}" if count else f"nothing in {hours_text(since_h)} of observed time"
            told = decision
            if item.filled and item.count < 2:
                told, why = STAYS, f"one swing lasted over {self.limits.long_episode_s:g} s"
            out.append(self._event("decision", item, f"{told} ({why})", decision, self.now_s))
            if was == CLEAN:
                text = f"'{CLEAN}' is taken back: {told} ({why}, after {hours_text(item.tested_h)} that were clean)"
                out.append(self._alarm(item, "no longer clean", text))
        return out

    def _refused(self, item: Followed) -> list[Event] | None:
        """None where raw volts do not speak against 'clean enough'; else what is told of it, once. Asked every five minutes."""
        if item.asked_s is not None and self.now_s - item.asked_s < CELL_S and item.asked_run == self.run:
            return []
        item.asked_s, item.asked_run = self.now_s, self.run
        found = self._guard.against(self.channels.index(item))
        if found is None:
            return None
        if "guard" in item.told:
            return []
        item.told.add("guard")
        return [self._event("note", item, f"no 'clean enough': {reasons_text(found)}", "guard", self.now_s)]

    # ------------------------------------------------------------ states

    def states(self) -> tuple[ChannelState, ...]:
        """Every channel so far."""
        return tuple(self._state(item) for item in self.channels)

    def _state(self, item: Followed) -> ChannelState:
        live = item.live
        hours = live.observed_s / HOUR
        rate = low = high = None
        phi = max(item.bursts.dispersion(live.observed_s), item.rule.dispersion)
        if hours > 0:
            bounds = rate_bounds(
                item.count,
                hours,
                design_rate=self.design.bad_rate_per_h,
                confidence=1.0 - self.design.error_per_channel,
                dispersion=phi,
            )
            rate, low, high = bounds.rate, bounds.low, bounds.high
        state = "not alive" if not live.alive else "starting" if not live.settled else "on"
        if live.in_excursion:
            state = "in an excursion"
        return ChannelState(
            channel=item.name,
            decision=item.decision,
            decided_at_h=item.decided_at_h,
            episodes=item.count,
            common_episodes=item.common,
            observed_h=hours,
            per_hour=rate,
            low_per_hour=low,
            high_per_hour=high,
            dispersion=phi,
            in_excursion_s=live.in_excursion_s,
            largest_V=item.largest_V,
            level_V=live.level_V if math.isfinite(live.level_V) else None,
            last_V=live.last_V if math.isfinite(live.last_V) else None,
            noise_V=live.sigma_V if live.settled else None,
            alarms=item.alarms,
            state=state,
            stays=item.filled and item.count < 2,
        )

    def summary(self, ended: str, *, notes: Iterable[str] = (), offline: Sequence[OfflineVerdict] = ()) -> WatchSummary:
        """What the watch has shown, with the verdicts of the offline judgement beside it where they were made."""
        states = self.states()
        cautions = [
            f"{state.channel}: fewer than {FEWEST} episodes, too few to tell bursts from single ones."
            for state in states
            if 0 < state.episodes < FEWEST
        ]
        cautions += [
            f"{item.name}: not seen for {lasting_text(item.unseen.unseen_s)} in all while it may have been over range:"
            " that time is not clean."
            for item in self.channels
            if item.unseen.unseen_s > 0
        ]
        cautions.append(
            "The live baseline looks back only and misses what came before the unit had settled; the offline judgement "
            "of the whole log has the last word."
        )
        return WatchSummary(
            design=self.design,
            channels=states,
            decided=self.decided,
            ended=ended,
            runs=self.runs,
            samples=self.samples,
            alarms=tuple(self.alarms),
            notes=tuple(notes),
            cautions=tuple(cautions),
            offline=tuple(offline),
        )
