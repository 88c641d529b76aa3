"""Does what a sitting asks for: sounds its links, falls silent, passes its news on.

And looks after what can go wrong on that side: the output that is lost and comes back, the sounding
process that dies, the way by which our output might come back to an input.

Conventions: seconds on the live clock. For the runner's thread only.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable

from livecont.errors import PortError
from livecont.live.clock import Clock
from livecont.live.messages import messages_of
from livecont.live.parts import Explainer, Voice
from livecont.live.player import Player
from livecont.live.report import SounderReport, SounderState
from livecont.live.take import TakeRecorder
from livecont.sitting.events import Analyse, Effect, Hush, News, Sound, TookOver, Understood, Wake

LOOK_AGAIN_S = 0.25  # how often the sounding process is asked how it is
PROBE_AGAIN_S = 2.0


class Performer:
    """Performs the effects of one sitting.

    `wake_s` is when the sitting wants its tick, None for never; `sounds_until_s` when the last
    planned message goes out.
    """

    def __init__(
        self,
        *,
        clock: Clock,
        sounder: Voice,
        player: Player,
        take: TakeRecorder | None,
        explainer: Explainer | None = None,
        listeners: Iterable[Callable[[News], object]],
        tell: Callable[[str], object],
    ) -> None:
        self.wake_s: float | None = None
        self.sounds_until_s = clock.now_s()
        self._clock, self._sounder, self._player, self._take = clock, sounder, player, take
        self._explainer = explainer
        self._listeners = tuple(listeners)
        self._tell = tell
        self._look_s = self.sounds_until_s
        self._probed_s = float("-inf")
        self._state = SounderState.RUNNING

    def perform(self, effect: Effect) -> None:
        """Do one thing that the sitting asks for."""
        if isinstance(effect, Sound):
            messages = messages_of(effect)
            self._sounder.play(messages)
            self._player.planned(messages)
            last_s = max((message.due_s for message in messages), default=effect.start_s)
            self.sounds_until_s = max(self.sounds_until_s, last_s)
        elif isinstance(effect, Hush):
            self._sounder.hush()
            self.sounds_until_s = self._clock.now_s()
            self._player.hushed(self.sounds_until_s)
        elif isinstance(effect, Wake):
            self.wake_s = effect.at_s
        elif isinstance(effect, Analyse):
            if self._explainer is not None:
                self._explainer.ask(effect.pattern, effect.home)
        else:
            self._pass_on(effect)

    def keep_take(self) -> None:
        """Have the take note what went out since the last call."""
        sent = self._sounder.sent()
        if self._take is not None:
            self._take.sounded(sent)

    def probe(self, *, anew: bool = False) -> None:
        """Find out, where that was not done just now, whether our output comes back."""
        now_s = self._clock.now_s()
        if now_s < self._probed_s + PROBE_AGAIN_S and not anew:
            return
        sounding = [pitch for _, pitch in self._sounder.sounding()]
        message = self._player.probe(now_s, sounding)
        if message is not None:
            self._probed_s = now_s
            self._sounder.thru(message)

    def look(self) -> bool:
        """See how the sounding process is, once in a while; return whether it was just lost."""
        now_s = self._clock.now_s()
        if now_s < self._look_s:
            return False
        self._look_s = now_s + LOOK_AGAIN_S
        report = self._sounder.report()
        before, self._state = self._state, report.state
        if report.state is SounderState.ENDED:
            self._revive()
        if report.state is before:
            return False
        self._tell_of(report)
        if report.state is SounderState.RUNNING:
            self._player.output_opened()
            self.probe(anew=True)
        return report.state is not SounderState.RUNNING

    def _tell_of(self, report: SounderReport) -> None:
        if report.state is SounderState.RUNNING:
            self._tell(f"the output {report.output!r} is back")
        elif report.state is SounderState.LOST:
            self._tell(f"the output is gone ({report.trouble}); waiting for it to return")
        else:
            self._tell(f"{report.trouble or 'the sounding process ended'}; starting it again")

    def _revive(self) -> None:
        with contextlib.suppress(PortError):  # tried again at the next look
            self._sounder.revive()

    def _pass_on(self, news: News) -> None:
        if isinstance(news, Understood | TookOver):
            self.probe()
        if self._take is not None:
            self._take.news(news)
        for listener in self._listeners:
            listener(news)
