"""What speaks for each stretch of a link as one harmony, for each root, as numbers.

Conventions: boundaries are the times where anything begins; a stretch is (first boundary, how many
spans it covers), the link being a circle; roots are letters in the frame of link 1. Arrays are
indexed [boundary, spans - 1, root, feature], features in the order of `Weights`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from livecont.music.harmony_notes import Tone

Floats = NDArray[np.float64]
PLACES = 7
LAPS = 2  # the link and what is held on into the next one
# a note's function by places above the root: root, third, fifth, seventh, outside
ROOT, THIRD, FIFTH, SEVENTH, OUTSIDE = range(5)
FUNCTION = np.array((ROOT, OUTSIDE, THIRD, OUTSIDE, FIFTH, OUTSIDE, SEVENTH))
# what a note is, from here on: a seventh that resolves over the same bass, six kinds of outside,
# a seventh that does not resolve
DELAYED, SUSPENSION, BY_STEP, LEANING, EARLY, OTHER, SIXTH, LOOSE = range(4, 12)
KINDS = 12
SIXTH_ABOVE = 5
# a member is there if it sounds for so much of the harmony
PRESENT_SHARE = 0.4
# notes of at most so many beats pass by
SHORT_BEATS = 0.6
TINY = 1e-9
# a seventh resolves within so long
RESOLVES_UNITS = 0.5
# plain parts of a link, and how far from one, in parts, a length is plain still
PARTS = (4, 6)
ODD = 0.15
ALTERS = (-2, -1, 0, 1, 2)


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


def features(frame: Frame) -> Floats:
    """Return what speaks for each stretch and root, shape (n, n, 7, 37)."""
    spans = np.diff(np.append(frame.times, frame.times[0] + 1.0)) * frame.beats
    sounding = _sounding(frame)
    by_kind, by_letter = _by_span(frame, sounding)
    kinds = _circular(by_kind, frame.step)
    letters = _circular(by_letter[:, :, None], frame.step)[..., 0]
    length = _circular(np.repeat(spans[:, None, None], PLACES, axis=1), 0)[..., 0]
    lowest = _lowest(frame, sounding)
    lows = np.zeros((len(spans), PLACES))
    lows[np.arange(len(spans)), lowest % PLACES] = spans
    low = _functions(_circular(lows[:, :, None], frame.step)[..., 0] / length)
    first = np.zeros_like(lows)
    first[np.arange(len(spans)), lowest % PLACES] = 1.0
    begun = np.repeat(_functions(first)[:, None], len(spans), axis=1)
    members = _functions(letters / np.maximum(length, TINY))[..., :SEVENTH]
    diminished = np.broadcast_to(frame.diminished, length.shape)
    return np.concatenate(
        [
            kinds,
            1.0 - np.minimum(1.0, members / PRESENT_SHARE),
            low,
            begun,
            np.stack(
                [
                    diminished,
                    diminished * low[..., ROOT],
                    np.broadcast_to(frame.augmented, length.shape),
                ],
                axis=3,
            ),
            np.broadcast_to(_starts(frame, lowest)[:, None, None], (*length.shape, 5)),
            np.maximum(0.0, 1.0 - length)[..., None],
            _odd(length / frame.beats)[..., None],
            _contradicted(frame, sounding)[..., None],
            np.broadcast_to(np.arange(len(spans))[None, :, None] == len(spans) - 1, length.shape)[
                ..., None
            ],
        ],
        axis=3,
    )


def _sounding(frame: Frame) -> Floats:
    """Beats that each tone sounds in each span, shape (laps, tones, spans)."""
    begins = np.array(frame.times)
    ends = np.append(begins[1:], begins[0] + 1.0)
    start = np.array([tone.start for tone in frame.tones])[:, None]
    end = np.array([tone.end for tone in frame.tones])[:, None]
    laps = [
        np.clip(np.minimum(ends + lap, end) - np.maximum(begins + lap, start), 0.0, None)
        for lap in range(LAPS)
    ]
    return np.stack(laps) * frame.beats


def _by_span(frame: Frame, sounding: Floats) -> tuple[Floats, Floats]:
    """Beats of each kind of note for each root, and of each letter, by span.

    What is held on into the next link lies a step back in its frame.
    """
    share = np.array([tone.share for tone in frame.tones])
    letters = np.array([tone.place % PLACES for tone in frame.tones])
    kind = _kinds(frame)  # [tone, root]
    is_kind = (kind[:, :, None] == np.arange(KINDS)).astype(float)
    is_letter = (letters[:, None] == np.arange(PLACES)).astype(float)
    beats = sounding * share[None, :, None]
    by_kind = np.zeros((len(frame.times), PLACES, KINDS))
    by_letter = np.zeros((len(frame.times), PLACES))
    for lap in range(LAPS):
        back = -lap * frame.step
        by_kind += np.roll(np.einsum("ts,trk->srk", beats[lap], is_kind), back, axis=1)
        by_letter += np.roll(beats[lap].T @ is_letter, back, axis=1)
    return by_kind, by_letter


def _kinds(frame: Frame) -> NDArray[np.int64]:
    """What each tone is for each root, shape (tones, 7)."""
    found = np.zeros((len(frame.tones), PLACES), dtype=np.int64)
    for i, tone in enumerate(frame.tones):
        for root in range(PLACES):
            found[i, root] = _kind(frame, tone, root)
    return found


def _kind(frame: Frame, tone: Tone, root: int) -> int:
    function = int(FUNCTION[(tone.place - root) % PLACES])
    if function == SEVENTH and tone.bass is not None and -1 in tone.after:
        return DELAYED
    if function == SEVENTH and not _goes_down(frame, tone):
        return LOOSE
    if function != OUTSIDE:
        return function
    into = [m for m in tone.after if FUNCTION[(tone.place + m - root) % PLACES] != OUTSIDE]
    if -1 in into and 0 in tone.before:
        return SUSPENSION
    if any(into) and tone.before and tone.length * frame.beats <= SHORT_BEATS:
        return BY_STEP
    if (tone.place - root) % PLACES == SIXTH_ABOVE:
        return SIXTH  # it grinds on nothing: another harmony's, rather
    if any(into):
        return LEANING
    return EARLY if 0 in tone.after else OTHER


def _odd(units: Floats) -> Floats:
    """Whether a length or place is no plain part of the link: half, third, quarter, sixth."""
    away = np.min([np.abs(units * parts - np.round(units * parts)) for parts in PARTS], axis=0)
    result: Floats = (away > ODD).astype(float)
    return result


def _contradicted(frame: Frame, sounding: Floats) -> Floats:
    """Beats in which a letter of a stretch has another accidental than most of the stretch.

    What lies past the link's end is looked up in the second link heard.
    """
    n = len(frame.times)
    by_sign = np.zeros((2 * n, PLACES, len(ALTERS)))
    for tone, beats in zip(frame.tones, sounding.sum(axis=0), strict=True):
        for lap, alter in enumerate(tone.alters[:2]):
            if alter in ALTERS:
                letter = (tone.place + lap * frame.step) % PLACES
                by_sign[lap * n : (lap + 1) * n, letter, ALTERS.index(alter)] += beats
    sums = np.cumsum(np.concatenate([np.zeros_like(by_sign[:1]), by_sign]), axis=0)
    first = np.arange(n)[:, None]
    inside = sums[first + np.arange(1, n + 1)[None, :]] - sums[first]
    other = inside.sum(axis=3) - inside.max(axis=3)
    members = _functions(other)
    result: Floats = members[..., :OUTSIDE].sum(axis=3)
    return result


def _goes_down(frame: Frame, tone: Tone) -> bool:
    """Whether the note a step below comes soon after a tone, in its own register."""
    return any(
        other.place + lap * frame.step == tone.place - 1
        and -TINY <= other.start + lap - tone.end <= RESOLVES_UNITS
        for other in frame.tones
        for lap in (0, 1)
    )


def _lowest(frame: Frame, sounding: Floats) -> NDArray[np.int64]:
    """The lowest place that sounds in each span; where nothing does, the one before."""
    found = np.zeros(len(frame.times), dtype=np.int64)
    last = min(tone.place for tone in frame.tones)
    for s in range(len(frame.times)):
        low = [
            tone.place - lap * frame.step
            for lap in range(LAPS)
            for tone, beats in zip(frame.tones, sounding[lap, :, s], strict=True)
            if beats > TINY and tone.share > 0.5
        ]
        last = found[s] = min(low, default=last)
    return found


def _circular(by_span: Floats, step: int) -> Floats:
    """Sum rows over the spans of every stretch; past the end the letters move by the step."""
    n = len(by_span)
    again = np.roll(by_span, step, axis=1)
    sums = np.cumsum(np.concatenate([np.zeros_like(by_span[:1]), by_span, again]), axis=0)
    first = np.arange(n)[:, None]
    result: Floats = sums[first + np.arange(1, n + 1)[None, :]] - sums[first]
    return result


def _functions(by_letter: Floats) -> Floats:
    """Turn [..., letter] into [..., root, function]; outside is what no other function has."""
    root, third, fifth, seventh = (np.roll(by_letter, -place, axis=-1) for place in (0, 2, 4, 6))
    rest = by_letter.sum(axis=-1, keepdims=True) - root - third - fifth - seventh
    return np.stack([root, third, fifth, seventh, rest], axis=-1)


def _starts(frame: Frame, lowest: NDArray[np.int64]) -> Floats:
    """A harmony's beginning: 1, how much begins, is the bass struck, and moves, off the beat."""
    n = len(frame.times)
    begun = np.zeros(n)
    struck = np.zeros(n)
    for s, at in enumerate(frame.times):
        tones = [tone for tone in frame.tones if abs(tone.start - at) < TINY]
        begun[s] = sum(tone.share * tone.length for tone in tones)
        struck[s] = any(tone.place == lowest[s] for tone in tones)
    before = np.append(lowest[-1] - frame.step, lowest[:-1])
    moves = struck * ((lowest - before) % PLACES != 0)
    begun /= max(float(begun.max()), TINY)
    return np.stack([np.ones(n), begun, struck, moves, _odd(np.array(frame.times))], axis=1)
