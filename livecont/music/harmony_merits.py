"""What every stretch of a link gains as one harmony, for each root.

Conventions: boundaries are the times where anything begins; a stretch is (first boundary, how many
spans it covers), the link being a circle; roots are letters in the frame of link 1. Arrays are
indexed [boundary, spans - 1, root].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from livecont.music.harmony_notes import Tone
from livecont.music.harmony_weights import Weights

Floats = NDArray[np.float64]
PLACES = 7
NONE = 4  # the function of a note outside; 0 root, 1 third, 2 fifth, 3 seventh
FUNCTION = (0, NONE, 1, NONE, 2, NONE, 3)  # by places above the root


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A link ready to be cut.

    `beats` are the beats of a unit; `diminished` tells for each root's letter in how much of the
    links its fifth is diminished, `augmented` likewise; `step` moves the circle on.
    """

    tones: tuple[Tone, ...]
    times: tuple[float, ...]
    beats: float
    step: int
    diminished: tuple[float, ...]
    augmented: tuple[float, ...]


def merits(frame: Frame, weights: Weights) -> Floats:
    """Return what each stretch gains as a harmony on each root, shape (n, n, 7)."""
    spans = _spans(frame)
    sounding = _sounding(frame, spans)
    gained, letters, lows = _by_span(frame, sounding, weights)
    total: Floats = _circular(gained, frame.step)
    weight = _circular(letters, frame.step)
    low = _circular(lows, frame.step)
    length = _circular(np.repeat(spans[:, None] * frame.beats, PLACES, axis=1), 0)[:, :, :1]
    members = np.stack(
        [np.roll(weight, -place, axis=2) for place in (0, 2, 4, 6)], axis=3
    )  # [.., root, function]
    present = np.minimum(1.0, members / (0.25 * length[..., None]))
    lacking = np.array(weights.missing)
    total = total - ((1.0 - present[..., :3]) * lacking).sum(axis=3)
    total += _bass_merit(low, weights)
    total += _quality_merit(frame, low, weights)
    total += _starts(frame, weights)[:, None, None] - weights.change
    return total


def _spans(frame: Frame) -> Floats:
    times = np.array(frame.times)
    return np.diff(np.append(times, times[0] + 1.0))


def _sounding(frame: Frame, spans: Floats) -> Floats:
    """Units that each tone sounds in each span, shape (laps 2, tones, spans).

    The second lap is for what is held past the link's end: it belongs to the next link's beginning.
    """
    begins = np.array(frame.times)
    ends = begins + spans
    start = np.array([tone.start for tone in frame.tones])[:, None]
    end = np.array([tone.end for tone in frame.tones])[:, None]
    laps = [
        np.clip(np.minimum(ends + lap, end) - np.maximum(begins + lap, start), 0.0, None)
        for lap in (0.0, 1.0)
    ]
    return np.stack(laps)


def _by_span(frame: Frame, sounding: Floats, w: Weights) -> tuple[Floats, Floats, Floats]:
    """What each span gains for each root; the weight of each letter; which letter lies lowest."""
    n = len(frame.times)
    gained = np.zeros((n, PLACES))
    letters = np.zeros((n, PLACES))
    lows = np.zeros((n, PLACES))
    worth = _worth(frame, w)
    lowest = [10_000] * n
    for lap in (0, 1):
        for i, tone in enumerate(frame.tones):
            for s in np.flatnonzero(sounding[lap, i] > 1e-9).tolist():
                beats = float(sounding[lap, i, s]) * frame.beats * tone.share
                shift = -lap * frame.step  # in the next link's frame it lies a step back
                letter = (tone.place + shift) % PLACES
                gained[s] += beats * np.roll(worth[i], shift)
                letters[s, letter] += beats
                lowest[s] = min(lowest[s], tone.place + shift)
    spans = _spans(frame) * frame.beats
    for s, place in enumerate(lowest):
        if place < 10_000:
            lows[s, place % PLACES] = spans[s]
    return gained, letters, lows


def _worth(frame: Frame, w: Weights) -> list[Floats]:
    """What a beat of each tone is worth for each root."""
    found = []
    for tone in frame.tones:
        worth = np.zeros(PLACES)
        for root in range(PLACES):
            function = FUNCTION[(tone.place - root) % PLACES]
            if function == NONE:
                worth[root] = -w.outside * (1.0 - w.excused * _excuse(tone, root))
            elif function == 3 and -1 in tone.after:
                worth[root] = w.member[3]
            else:
                worth[root] = w.member[function]
        found.append(worth)
    return found


def _excuse(tone: Tone, root: int) -> float:
    """How well a note outside the harmony is explained by the notes around it, 0..1."""
    resolves = [m for m in tone.after if FUNCTION[(tone.place + m - root) % PLACES] != NONE]
    if not any(resolves):
        return 0.3 if 0 in tone.after else 0.0
    comes = bool(tone.before)
    if -1 in resolves and 0 in tone.before:
        return 1.0  # prepared and resolved: a suspension
    return 0.9 if comes else 0.5


def _circular(by_span: Floats, step: int) -> Floats:
    """Sum each row over the spans of every stretch; past the end the letters move by the step."""
    n = len(by_span)
    again = np.roll(by_span, step, axis=1)  # what a letter is there is a step on here
    sums = np.vstack([np.zeros((1, PLACES)), np.cumsum(np.vstack([by_span, again]), axis=0)])
    first = np.arange(n)[:, None]
    last = first + np.arange(1, n + 1)[None, :]
    result: Floats = sums[last] - sums[first]
    return result


def _bass_merit(low: Floats, w: Weights) -> Floats:
    share = low / np.maximum(low.sum(axis=2, keepdims=True), 1e-9)
    merit = np.zeros_like(low)
    for above, function in enumerate(FUNCTION):
        merit += np.roll(share, -above, axis=2) * w.bass[function]
    return merit


def _quality_merit(frame: Frame, low: Floats, w: Weights) -> Floats:
    share = low / np.maximum(low.sum(axis=2, keepdims=True), 1e-9)
    diminished = np.array(frame.diminished)
    augmented = np.array(frame.augmented)
    merit: Floats = (
        -w.diminished * diminished - w.augmented * augmented - w.diminished_low * diminished * share
    )
    return merit


def _starts(frame: Frame, w: Weights) -> Floats:
    """How much begins at each boundary, which speaks for a change there."""
    begun = np.zeros(len(frame.times))
    basses = np.zeros(len(frame.times))
    for s, at in enumerate(frame.times):
        tones = [tone for tone in frame.tones if abs(tone.start - at) < 1e-9]
        begun[s] = sum(tone.share * tone.length for tone in tones)
        bottom = min((tone.place for tone in _sounding_at(frame.tones, at)), default=0)
        basses[s] = any(tone.place == bottom for tone in tones)
    most = max(float(begun.max()), 1e-9)
    return w.accent * begun / most + w.accent_bass * basses


def _sounding_at(tones: Sequence[Tone], at: float) -> list[Tone]:
    return [t for t in tones if t.start <= at + 1e-9 and t.end > at + 1e-9]
