"""A program that plays into a take until it is killed; it prints each key and when it was."""

KILLED = """
import sys
from datetime import datetime
from pathlib import Path
from livecont.live.take import TakeRecorder
from livecont.live.clock import SystemClock
from livecont.sequence.events import KeyDown, KeyUp
if __name__ == "__main__":
    clock = SystemClock()
    start_s = clock.now_s()
    take = TakeRecorder(Path(sys.argv[1]), datetime(2025, 1, 31), start_s=start_s)
    take.wait_named(10)
    for k in range(100_000):
        now_s = clock.now_s()
        take.player(KeyDown(at_s=now_s, pitch=k % 128, velocity=1 + k // 128))
        print(k, now_s - start_s, flush=True)
        clock.sleep_until(now_s + 0.004)
        take.player(KeyUp(at_s=clock.now_s(), pitch=k % 128))
"""
