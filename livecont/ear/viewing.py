"""What is shown of a game: one view of its state.

Conventions: as in `screen.ear_view`. Pure.
"""

from __future__ import annotations

from livecont.ear.asked import Exercise
from livecont.ear.following import chords_of
from livecont.ear.judging import Added, Judgement, Verdict
from livecont.ear.planning import level_of
from livecont.ear.state import Game, Phase
from livecont.ear.telling import note_name
from livecont.screen.ear_view import Beside, EarView, Turn
from livecont.screen.wording import key_words

TITLES = {
    Exercise.ANSWER: "the third link",
    Exercise.ODD_LINK: "the odd link",
    Exercise.STEP: "the step",
    Exercise.NAME_IT: "its name",
    Exercise.HOW_MANY: "links left",
}
# what is to be done: while it sounds, and afterwards
ASKS = {
    Exercise.ANSWER: ("play the third link when two have sounded", "play the third link"),
    Exercise.ODD_LINK: ("press any key when a link is odd", "was a link odd? press any key"),
    Exercise.STEP: ("how far does it move?", "play the step: two notes, one after the other"),
    Exercise.NAME_IT: ("what is it called?", "type the number, or strike a key so many times"),
    Exercise.HOW_MANY: (
        "how many links are left before the keys run out?",
        "type the number, or strike a key for each link left",
    ),
}
BIG = {
    Phase.CALL: "listen",
    Phase.PAUSED: "pause",
    Phase.OVER: "the end",
}
BIG_ANSWERING = {
    Exercise.ANSWER: "play",
    Exercise.ODD_LINK: "odd?",
    Exercise.STEP: "play two",
    Exercise.NAME_IT: "name it",
    Exercise.HOW_MANY: "how many",
}
TURNS = {
    Phase.CALL: Turn.OURS,
    Phase.ANSWERING: Turn.YOURS,
    Phase.TOLD: Turn.TOLD,
    Phase.PAUSED: Turn.WAITING,
    Phase.OVER: Turn.OVER,
}
HINTS = (
    ("space, pedal", "go on"),
    ("a", "again"),
    ("y", "yours"),
    ("t", "the true one"),
    ("p", "pause"),
    ("q", "quit"),
)


def view(game: Game, at_s: float) -> EarView:
    """Return what is shown of a game at a moment."""
    exercise = game.session.choices.exercise
    asked = max(1, game.count if game.phase is Phase.TOLD else game.count + 1)
    player = game.player
    if game.phase in (Phase.TOLD, Phase.OVER) and game.count:
        player = game.session.players[(game.count - 1) % len(game.session.players)]
    mine = [one for one in game.answers if one.player == player]
    pace = game.session.setup.pace
    return EarView(
        title=TITLES[exercise],
        who=player,
        turn=TURNS[game.phase],
        big=_big(game),
        said=_said(game),
        beside=_beside(game),
        choices=_choices(game),
        hints=HINTS,
        bar=_bar(game, at_s),
        marks=tuple(one.right for one in mine[-pace.questions :]),
        level=level_of(mine, game.session.setup),
        top=game.session.setup.rules.top,
        number=min(asked, pace.questions),
        of=pace.questions,
        typed=game.typed or None,
        message=game.notice,
    )


def _big(game: Game) -> str:
    if game.phase is Phase.TOLD and game.verdict is not None:
        return "right" if game.verdict.right else "not yet"
    if game.phase is Phase.ANSWERING:
        return BIG_ANSWERING[game.session.choices.exercise]
    return BIG.get(game.phase, "")


def _said(game: Game) -> tuple[str, ...]:
    if game.phase is Phase.TOLD and game.verdict is not None:
        return game.verdict.said
    if game.phase is Phase.OVER:
        answered = game.answers[-game.count :] if game.count else ()
        return (f"{sum(one.right for one in answered)} of {len(answered)} right",)
    if game.planned is None:
        return ()
    question = game.planned.question
    ask = ASKS[game.session.choices.exercise][game.phase is Phase.ANSWERING]
    said = [ask, f"in {key_words(question.matter.pattern.key)}"]
    if question.left is not None:
        compass = question.compass
        key = question.matter.pattern.key
        lowest, highest = (note_name(key.spell(p)) for p in (compass.lowest, compass.highest))
        said.append(f"the keys go from {lowest} to {highest}")
    if game.planned.again:
        said.append("this one was missed before")
    return tuple(said)


def _bar(game: Game, at_s: float) -> float | None:
    if game.phase is not Phase.CALL or game.planned is None:
        return None
    return (at_s - game.start_s) / game.planned.question.ends_s


def _choices(game: Game) -> tuple[tuple[str, str], ...]:
    if game.planned is None or game.phase is Phase.OVER:
        return ()
    return tuple(
        (str(number), label.said) for number, label in enumerate(game.planned.question.names, 1)
    )


def _beside(game: Game) -> tuple[Beside, ...]:
    judgement = game.verdict.judgement if game.verdict is not None else None
    return beside(judgement) if judgement is not None else ()


def beside(judgement: Judgement) -> tuple[Beside, ...]:
    """Return a due link and what was played, chord by chord; what was not due comes last."""
    found = []
    for chord in chords_of([one.due for one in judgement.notes]):
        notes = sorted((judgement.notes[i] for i in chord.members), key=lambda one: one.due.pitch)
        played = [note_name(one.played) if one.played is not None else "-" for one in notes]
        fine = (Verdict.RIGHT,) if judgement.octaves_count else (Verdict.RIGHT, Verdict.OCTAVE)
        found.append(
            Beside(
                due="+".join(note_name(one.due.spelling) for one in notes),
                played="+".join(played),
                fault=any(one.verdict not in fine for one in notes),
            )
        )
    found += [
        Beside(due="", played=f"+{note_name(more.spelling)}", fault=True)
        for more in judgement.surplus
        if more.added is Added.EXTRA
    ]
    return tuple(found)
