"""The board's program: edges in, reps and cues out, to the buzzer at once and to a host over the radio."""

import asyncio
import gc
import sys

from . import ports, rigfile, sounder, sources, status
from .clock import ms_after, now_ms, sleep_ms
from .outbox import CueLine, RepQueue
from .radio import Radio
from .session import Session

_DETECT_EVERY_MS = 1
_TALK_EVERY_MS = 5
_TIDY_EVERY_MS = 2000


class App:
    """Ties source, session, sounder and radio together.

    rig: as `rigfile.load` gives it. source: has ``pump(session)`` and ``done``. bluetooth: the module, or
    None for a board without a radio. troubles: what is wrong already, in words (or empty).
    """

    def __init__(self, rig, source, the_sounder, bluetooth=None, troubles=()):
        self.rig = rig
        self.source = source
        self.sounder = the_sounder
        self.trouble = ""
        for text in troubles:
            self.add_trouble(text)
        self.faults = 0
        self.reps = RepQueue()
        self.cues = CueLine()
        self.session = self._new_session()
        self._uptime = status.Uptime()
        self._tidy = False
        self.radio = self._new_radio(bluetooth) if bluetooth else None
        self._start_radio()

    def _new_session(self):
        return Session(self.rig, self._on_rep, self._on_cue)

    def _new_radio(self, bluetooth):
        return Radio(
            bluetooth.BLE(),
            bluetooth.UUID,
            self.rig.get("name") or "",
            self.reps,
            self.cues,
            self._pack_live,
            self._pack_status,
        )

    def _start_radio(self):
        if self.radio is None:
            return
        try:
            self.radio.start()
        except OSError as error:
            # Cues still sound without a radio: that is no reason to stop.
            self.radio = None
            self.add_trouble("radio did not start (%s)" % error)

    def add_trouble(self, text):
        # type: (str) -> None
        """Note what is wrong, for the console and the status."""
        if text:
            self.trouble = text if not self.trouble else self.trouble + "; " + text
            print("brakebeat:", text)

    def _on_rep(self, message):
        self.reps.put(message)
        # The wheel has just turned round and is slow: the best moment to collect garbage.
        self._tidy = True

    def _on_cue(self, kind, rep, t_us):
        self.sounder.play(kind, now_ms())
        self.cues.put(kind, rep, t_us)

    def _pack_live(self, buffer, dropped):
        status.pack_live(buffer, self.session, self.cues.current(1), dropped)

    def _pack_status(self, buffer):
        radio = self.radio
        counts = {
            "reps_waiting": self.reps.waiting,
            "connections": radio.connections if radio else 0,
            "uptime_s": self._uptime.seconds(),
            "reps_lost": self.reps.lost,
            "live_dropped": radio.live_dropped if radio else 0,
            "notify_retries": radio.retries if radio else 0,
            "cues_sounded": self.sounder.sounded,
        }
        status.pack_status(buffer, self.session, counts, radio.name if radio else "", self.trouble)

    async def run(self):
        # type: () -> None
        """Run until the source is done (a board's never is) and everything is sent."""
        talk = asyncio.create_task(self._talk(self.radio)) if self.radio else None
        await self._detect()
        if talk:
            talk.cancel()

    async def _detect(self):
        tidied_ms = now_ms()
        while not self.source.done:
            try:
                self.source.pump(self.session)
            except Exception as error:
                self._restart_session(error)
            now = now_ms()
            self.sounder.service(now)
            idle = self.session.phase == 0 and ms_after(now, tidied_ms) >= _TIDY_EVERY_MS
            if self._tidy or idle:
                self._tidy = False
                tidied_ms = now
                gc.collect()
            await sleep_ms(_DETECT_EVERY_MS)

    async def _talk(self, radio):
        while True:
            try:
                more = radio.service(now_ms())
            except Exception as error:
                self._note_fault("radio", error)
                more = False
            await sleep_ms(0 if more else _TALK_EVERY_MS)

    def _restart_session(self, error):
        self._note_fault("detector restarted", error)
        reps = self.session.reps.count
        self.session = self._new_session()
        # A host acknowledges by index: it must not meet one twice.
        self.session.reps.count = reps

    def _note_fault(self, what, error):
        self.faults += 1
        if self.faults == 1:
            self.add_trouble("%s: %r" % (what, error))
            if hasattr(sys, "print_exception"):
                sys.print_exception(error)


def main(rig_path="rig.toml"):
    # type: (str) -> None
    """Boot: read the rig file, set up what is wired, run for ever. Whatever is missing is told, not fatal."""
    asyncio.run(_boot(rig_path))


async def _boot(rig_path):
    rig, rig_trouble = rigfile.load(rig_path)
    machine = ports.pins()
    source, source_trouble = sources.from_rig(rig, machine)
    the_sounder, sounder_trouble = sounder.from_rig(rig, machine)
    radio_module = ports.radio()
    radio_trouble = "" if radio_module else "no radio on this port"
    troubles = (rig_trouble, source_trouble, sounder_trouble, radio_trouble)
    await App(rig, source, the_sounder, radio_module, troubles).run()
