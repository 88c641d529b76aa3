"""Asks the operating system to let this process be on time.

What is granted depends on the system: real time on Linux needs root or a limit for it
(`rtprio` in /etc/security/limits.conf, as audio installations set it). Nothing here raises: what
isn't granted is done without, and the answer says so.

The real-time priority is low on purpose. Any such priority goes before every ordinary process,
and ours must not go before the sound server (JACK's default is 10), the sound card's interrupts
(50 on real-time kernels) or a MIDI system's own thread, which takes over what we send.
"""

from __future__ import annotations

import contextlib
import gc
import os
import sys

from livecont.live.wire import Priority

REAL_TIME_PRIORITY = 4

_NICE_TRIES = (-15, -10, -5)
_LOWEST_NICE = 19
_WINDOWS_IDLE_CLASS = 0x40  # IDLE_PRIORITY_CLASS, as below
_TURN_S = 0.0005
_WINDOWS_ABOVE_NORMAL_CLASS = 0x8000  # ABOVE_NORMAL_PRIORITY_CLASS
_WINDOWS_HIGH_CLASS = 0x80  # HIGH_PRIORITY_CLASS, SetPriorityClass in the Windows API
_WINDOWS_TIME_CRITICAL = 15  # THREAD_PRIORITY_TIME_CRITICAL, SetThreadPriority


def raise_priority() -> Priority:
    """Take the highest priority that the system grants; threads started later inherit it."""
    if sys.platform == "win32":
        return _raise_on_windows()
    if sys.platform == "linux":
        try:
            os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(REAL_TIME_PRIORITY))
        except OSError:
            pass  # not granted: the next best
        else:
            return Priority.REAL_TIME
    for niceness in _NICE_TRIES:
        try:
            os.setpriority(os.PRIO_PROCESS, 0, niceness)
        except OSError:
            continue
        return Priority.RAISED
    return Priority.NORMAL


def lower_priority() -> None:
    """Leave the processor to others wherever they want it."""
    if sys.platform == "win32":
        import ctypes

        kernel = ctypes.WinDLL("kernel32")
        kernel.GetCurrentProcess.restype = ctypes.c_void_p
        kernel.SetPriorityClass.argtypes = (ctypes.c_void_p, ctypes.c_ulong)
        kernel.SetPriorityClass(kernel.GetCurrentProcess(), _WINDOWS_IDLE_CLASS)
        return
    with contextlib.suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, 0, _LOWEST_NICE)


def favour_sitting() -> None:
    """Let the process that hears and decides go before others, as far as that is granted.

    Its threads take turns more often too: each message passed on waits for the interpreter. For a
    process that holds a sitting and nothing else; what it starts afterwards inherits the priority.

    Measured with the screen drawn and two busy processes a core: the first note was sent up to
    50 ms late, for the link was handed over late; with this within 20 us, at 27 ms ahead.
    """
    sys.setswitchinterval(_TURN_S)
    if sys.platform == "win32":
        import ctypes

        kernel = ctypes.WinDLL("kernel32")
        kernel.GetCurrentProcess.restype = ctypes.c_void_p
        kernel.SetPriorityClass.argtypes = (ctypes.c_void_p, ctypes.c_ulong)
        kernel.SetPriorityClass(kernel.GetCurrentProcess(), _WINDOWS_ABOVE_NORMAL_CLASS)
        return
    for niceness in _NICE_TRIES[1:]:
        try:
            os.setpriority(os.PRIO_PROCESS, 0, min(niceness, os.getpriority(os.PRIO_PROCESS, 0)))
        except OSError:
            continue
        return


def freeze_garbage() -> None:
    """Keep the garbage collector from interrupting; what follows must make no reference cycles."""
    gc.collect()
    gc.freeze()
    gc.disable()


def _raise_on_windows() -> Priority:
    if sys.platform != "win32":
        return Priority.NORMAL
    import ctypes

    ctypes.WinDLL("winmm").timeBeginPeriod(1)  # else waits end on a 16 ms grid
    kernel = ctypes.WinDLL("kernel32")
    kernel.GetCurrentProcess.restype = ctypes.c_void_p
    kernel.GetCurrentThread.restype = ctypes.c_void_p
    kernel.SetPriorityClass.argtypes = (ctypes.c_void_p, ctypes.c_ulong)
    kernel.SetThreadPriority.argtypes = (ctypes.c_void_p, ctypes.c_int)
    granted = kernel.SetPriorityClass(kernel.GetCurrentProcess(), _WINDOWS_HIGH_CLASS)
    critical = kernel.SetThreadPriority(kernel.GetCurrentThread(), _WINDOWS_TIME_CRITICAL)
    return Priority.RAISED if granted and critical else Priority.NORMAL
