"""The ear game: asks, hears, judges, tells, and asks the next. Pure: time comes as data.

Every transition lives here. `step` takes the state and an event and returns the next state and the
effects to perform, in order. A question goes through four phases: it sounds (CALL), the player
answers (ANSWERING), the verdict stands with whatever sounds after it (TOLD), and the next is asked;
or it waits (PAUSED). Nobody has to press anything to go on. Each answer is kept the moment it is
complete, before anything else is done with it.

Conventions: seconds on the session's clock. Random choices follow from the seed and the number of
questions asked, so that the same events give the same game.
"""

from __future__ import annotations

import random  # noqa: TID251 -- seeded with what was handed in
from dataclasses import replace

from livecont.ear.asked import Answered, Exercise
from livecont.ear.completing import early_s, is_complete, patience_s, understood
from livecont.ear.planning import next_question
from livecont.ear.replaying import replay, true_links
from livecont.ear.setup import Control
from livecont.ear.sounds import (
    Hush,
    Keep,
    KeyDown,
    KeyUp,
    Lost,
    Over,
    PedalMove,
    Playing,
    Quit,
    SessionEffect,
    SessionEvent,
    Tick,
    Typed,
    Wake,
    sounding,
)
from livecont.ear.state import Game, Outcome, Phase, Session
from livecont.ear.verdicts import Verdict, latest_press_s, pressed
from livecont.sequence.events import SUSTAIN

PEDAL_DOWN = 64  # MIDI 1.0: 64 and more is down
SHOW_TRUE_S = 1.2  # after the verdict, before the true answer sounds
SHORT = 0.5  # of the time before the next question, where nothing is to be read


def begin(session: Session, answers: tuple[Answered, ...], at_s: float) -> Outcome:
    """Return a game with its first question asked."""
    game = Game(session=session, answers=answers, now_s=at_s)
    return _with_wake(*_ask_next(game))


def step(game: Game, event: SessionEvent) -> Outcome:
    """Take one event; return the next state and what is to be done, in order."""
    if game.phase is Phase.OVER:
        return game, ()
    game = replace(game, now_s=max(game.now_s, event.at_s))
    match event:
        case KeyDown() | KeyUp():
            return _with_wake(*_key(game, event))
        case PedalMove():
            return _with_wake(*_pedal(game, event))
        case Typed():
            return _with_wake(*_type(game, event.sign))
        case Tick():
            return _with_wake(*_in_time(game))
        case Lost():
            return _with_wake(*_pause(game, "the keyboard is gone: waiting for it"))
        case Quit():
            return replace(game, phase=Phase.OVER), (Hush(at_s=event.at_s),)


def _with_wake(game: Game, effects: tuple[SessionEffect, ...]) -> Outcome:
    if game.until_s is None or game.phase is Phase.OVER:
        return game, effects
    return game, (*effects, Wake(at_s=max(game.until_s, game.now_s)))


# --- asking -------------------------------------------------------------------------------------


def _ask_next(game: Game) -> Outcome:
    session = game.session
    if game.count >= session.setup.pace.questions:
        over = replace(game, phase=Phase.OVER, until_s=None)
        return over, (Hush(at_s=game.now_s), Over(at_s=game.now_s))
    mine = [one for one in game.answers if one.player == game.player]
    dice = random.Random(f"{session.seed} {len(game.answers)}")  # noqa: S311 -- music, no secret
    planned = next_question(mine, session.choices, session.setup, session.library, dice)
    return _sound(replace(game, planned=planned, asked_again=False, notice=None))


def _sound(game: Game) -> Outcome:
    """Sound the question from its beginning."""
    if game.planned is None:
        return game, ()
    start_s = game.now_s + game.session.setup.pace.lead_s
    asked = replace(
        game,
        phase=Phase.CALL,
        start_s=start_s,
        until_s=start_s + game.planned.question.ends_s,
        playing=Playing(),
        typed="",
        verdict=None,
    )
    return asked, (Hush(at_s=game.now_s), *sounding(game.planned.question.links, start_s))


def _in_time(game: Game) -> Outcome:
    """Do what is due by now."""
    if game.until_s is None or game.now_s < game.until_s or game.planned is None:
        return game, ()
    question = game.planned.question
    match game.phase:
        case Phase.CALL:
            waits_s = game.session.setup.pace.think_s
            if question.odd is not None:
                waits_s = max(0.0, latest_press_s(question, game.start_s) - game.now_s)
            return replace(game, phase=Phase.ANSWERING, until_s=game.now_s + waits_s), ()
        case Phase.ANSWERING:
            if question.odd is not None:
                return _judge(game, pressed(question, game.start_s, None))
            if game.playing.notes or game.typed:
                return _complete(game)
            if game.asked_again:
                return _pause(game, "nobody answered: it waits")
            return _sound(replace(game, asked_again=True))
        case Phase.TOLD:
            return _ask_next(game)
        case _:
            return game, ()


def _pause(game: Game, notice: str | None = None) -> Outcome:
    """Be silent and wait. A verdict that stands is not lost, a question will be asked again."""
    paused = replace(game, phase=Phase.PAUSED, until_s=None, notice=notice)
    return paused, (Hush(at_s=game.now_s),)


def _go_on(game: Game) -> Outcome:
    if game.verdict is not None:
        return _ask_next(game)
    return _sound(replace(game, notice=None))


# --- the player ---------------------------------------------------------------------------------


def _key(game: Game, event: KeyDown | KeyUp) -> Outcome:
    control = game.session.setup.keys.get(event.pitch)
    if control is not None and not _is_music(game, event.pitch):
        return _control(game, control) if isinstance(event, KeyDown) else (game, ())
    if game.planned is None or game.phase not in (Phase.CALL, Phase.ANSWERING):
        return game, ()
    question = game.planned.question
    if question.odd is not None:
        return _press(game) if isinstance(event, KeyDown) else (game, ())
    if isinstance(event, KeyDown) and game.phase is Phase.CALL:
        if game.now_s < game.ends_s - early_s(question):
            return game, ()  # played along: no answer yet
        game = replace(game, phase=Phase.ANSWERING)
    game = replace(game, playing=game.playing.after(event))
    if not game.playing.notes:
        return game, ()
    if is_complete(question, game.playing):
        return _complete(game)
    return replace(game, until_s=game.now_s + patience_s(question, game.playing)), ()


def _is_music(game: Game, pitch: int) -> bool:
    """Whether a key that is a control is a note of the answer just now."""
    if game.planned is None or game.phase is not Phase.ANSWERING:
        return False
    due = game.planned.question.due
    return due is not None and any(note.pitch == pitch for note in due.notes)


def _press(game: Game) -> Outcome:
    """An odd link is told, now."""
    if game.planned is None or game.now_s < game.start_s:
        return game, ()
    return _judge(game, pressed(game.planned.question, game.start_s, game.now_s))


def _pedal(game: Game, event: PedalMove) -> Outcome:
    control = game.session.setup.pedals.get(event.controller)
    was_down = event.controller in game.down
    if event.value < PEDAL_DOWN:
        return replace(game, down=game.down - {event.controller}), ()
    game = replace(game, down=game.down | {event.controller})
    if control is None or was_down:
        return game, ()
    if game.phase is Phase.ANSWERING and _is_for_music(game, event.controller):
        return game, ()
    return _control(game, control)


def _is_for_music(game: Game, controller: int) -> bool:
    """Whether a pedal is part of a link that is being played, or about to be."""
    return game.session.choices.exercise is Exercise.ANSWER and (
        controller == SUSTAIN or bool(game.playing.notes)
    )


def _control(game: Game, control: Control) -> Outcome:
    if control is Control.AGAIN:
        return _again(game)
    answers = game.phase in (Phase.CALL, Phase.ANSWERING)
    if answers and game.planned is not None and game.planned.question.odd is not None:
        return _press(game)
    if game.phase is Phase.ANSWERING:
        answered = bool(game.playing.notes or game.typed) or _counts(game)
        return _complete(game) if answered else _again(game)
    if game.phase is Phase.TOLD:
        return _ask_next(game)
    return _go_on(game) if game.phase is Phase.PAUSED else (game, ())


def _counts(game: Game) -> bool:
    """Whether no key at all is an answer, too: none."""
    return game.session.choices.exercise is Exercise.HOW_MANY


def _again(game: Game) -> Outcome:
    """Hear it again: the question, or what was played and the true answer."""
    if game.phase is Phase.TOLD:
        return replay(game, yours=True, true=True)
    return _sound(replace(game, notice=None))


def _type(game: Game, sign: str) -> Outcome:
    sign = sign.lower()
    if sign == "q":
        over = replace(game, phase=Phase.OVER, until_s=None)
        return over, (Hush(at_s=game.now_s), Over(at_s=game.now_s))
    if sign == "p":
        return _go_on(game) if game.phase is Phase.PAUSED else _pause(game)
    if sign in (" ", "\r", "\n"):
        return _control(game, Control.GO)
    if sign == "a":
        return _control(game, Control.AGAIN)
    if sign in ("y", "t") and game.phase is Phase.TOLD:
        return replay(game, yours=sign == "y", true=sign == "t")
    if sign.isdecimal() and game.phase in (Phase.CALL, Phase.ANSWERING):
        return _digit(game, sign)
    return game, ()


def _digit(game: Game, sign: str) -> Outcome:
    if game.planned is None or game.session.choices.exercise not in (
        Exercise.NAME_IT,
        Exercise.HOW_MANY,
    ):
        return game, ()
    question = game.planned.question
    if question.names:
        if not 1 <= int(sign) <= len(question.names):
            return game, ()
        return _complete(replace(game, typed=sign))
    typed = (game.typed + sign)[-2:]
    waits_s = patience_s(question, game.playing)
    return (
        replace(game, phase=Phase.ANSWERING, typed=typed, until_s=game.now_s + waits_s),
        (),
    )


# --- the verdict --------------------------------------------------------------------------------


def _complete(game: Game) -> Outcome:
    if game.planned is None:
        return game, ()
    setup = game.session.setup
    verdict = understood(game.planned.question, game.playing, game.typed, game.start_s, setup)
    return _judge(game, verdict)


def _judge(game: Game, verdict: Verdict) -> Outcome:
    """Keep the answer, then tell the verdict and let the true answer be heard where it helps."""
    if game.planned is None:
        return game, ()
    question = game.planned.question
    kept = Answered(
        player=game.player,
        item=question.item,
        right=verdict.right,
        again=game.planned.again,
        step_degrees=question.matter.pattern.step_degrees,
        texture=question.matter.texture,
        detail=verdict.detail,
    )
    next_s = game.session.setup.pace.next_s
    told = replace(
        game,
        phase=Phase.TOLD,
        verdict=verdict,
        until_s=game.now_s + (next_s * SHORT if verdict.right else next_s),
        answers=(*game.answers, kept),
        count=game.count + 1,
    )
    effects: tuple[SessionEffect, ...] = (Keep(answered=kept), Hush(at_s=game.now_s))
    if verdict.right or not true_links(told):
        return told, effects
    told, sounds = replay(told, yours=False, true=True, after_s=SHOW_TRUE_S)
    return told, (*effects, *sounds)
