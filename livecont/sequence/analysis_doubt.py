"""Why a label is not sure, in words; nothing is guessed silently.

Conventions: merits in nats, as in `harmony_weights`.
"""

from __future__ import annotations

from collections.abc import Sequence

from livecont.music.harmony_notes import Tone
from livecont.music.harmony_segments import Reading
from livecont.music.label import least_rotation, make_label, without_returns
from livecont.sequence.reduction import Stretch

PLACES = 7
# the best reading is to be so much likelier than the next [fit]
SURE = 0.7
# so much more where there is one line only, whose harmony is implied
SURE_ALONE = 2.0


def apart(readings: Sequence[Reading], step: int) -> list[Reading]:
    """Return the readings after the first that are more than the first with an ornament, or less.

    A harmony that goes away and comes back at once does not make another sequence.
    """

    def plain(reading: Reading) -> tuple[int, ...]:
        return least_rotation(without_returns(reading.motions(step)))

    return [reading for reading in readings[1:] if plain(reading) != plain(readings[0])]


def doubt_about(
    readings: Sequence[Reading], tones: Sequence[Tone], stretches: Sequence[Stretch], step: int
) -> str | None:
    """Return why the first of the readings is not sure; None where it is."""
    ahead = readings[0].merit - readings[1].merit if len(readings) > 1 else SURE_ALONE
    alone = is_one_line(tones)
    if alone and ahead < SURE_ALONE:
        return "one line alone: its harmony is only implied"
    if ahead < SURE:
        return f"{make_label(step, readings[1].motions(step)).text} is nearly as likely"
    missing = sum(not _root_sounds(tones, stretch) for stretch in stretches)
    if 2 * missing > len(stretches):
        return "most of the roots do not sound"
    return None


def is_one_line(tones: Sequence[Tone]) -> bool:
    """Whether never two notes sound together."""
    starts = [tone.start for tone in tones if not tone.suspended]
    return len(set(starts)) == len(starts) and all(
        not (a.start + TOUCH < b.start < a.end - TOUCH) for a in tones for b in tones if a is not b
    )


TOUCH = 0.01


def _root_sounds(tones: Sequence[Tone], stretch: Stretch) -> bool:
    return any(
        (tone.place - stretch.root) % PLACES == 0 and stretch.shared(tone) > TOUCH for tone in tones
    )
