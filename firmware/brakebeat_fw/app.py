"""The board's program: edges in, reps and cues out, to the buzzer at once, to flash, and to a host over the radio."""

import asyncio
import gc
import sys

from micropython import const

from . import boards, button, ports, region, rigfile, sounder, sources, supply, ticks, watchdog
from .access import Access, file_crc, replace_file
from .clock import ms_after, now_ms, sleep_ms
from .journal import Journal
from .outbox import CueLine
from .radio import Radio
from .raw import Tap
from .session import Session

_DETECT_EVERY_MS = const(1)
_TALK_EVERY_MS = const(5)
_TIDY_EVERY_MS = const(2000)
_AT_REST_US = const(2000000)
_LONGEST_TROUBLE = const(300)
_RECORD_REP = const(1)


class App:
    """Ties source, session, sounder, journal and radio together.

    rig: as `rigfile.load` gives it. source: has ``pump(session)``, ``lost`` and ``done``. link: (BLE object, UUID
    class), or None for a board that talks to nobody. troubles: what is wrong already, in words (or empty).
    files: the path that rig file and bonds lie under. place: the journal's region, else memory.
    """

    def __init__(self, rig, source, the_sounder, link=None, troubles=(), machine=None, files="", place=None):
        self.rig = rig
        self.rig_crc = file_crc(files + "rig.toml")
        self.source = source
        self.sounder = the_sounder
        self._files = files
        self.trouble = ""
        for text in troubles:
            self.add_trouble(text)
        self.faults = 0
        self.cues = CueLine()
        self.session = Session(rig, self._on_rep, self._on_cue)
        # Its clock runs from here on, wheel or no wheel.
        self.session.poll(source.now())
        self.tap = Tap(self.session, source, rig.get("board.cycling"))
        self.supply, text = supply.from_rig(rig, machine)
        self.add_trouble(text)
        self.at_rest = False
        self._lost = 0
        self._tidy = False
        self._moved_ticks = source.now()
        self._second_ms = now_ms()
        self._uptime_s = 0
        self.radio = None  # type: Radio | None
        self.journal = None  # type: Any
        try:
            self.journal = Journal(place or region.MemoryRegion())
        except OSError as error:
            self._give_up_flash(error)
        pin = ports.button(rig, machine)
        self.button = button.Button(pin) if pin else None
        if link:
            self._start_radio(link, self.button)

    def _start_radio(self, link, opener):
        ble, uuid = link
        access = Access(self._files + "bonds", opener, now_ms())
        self.radio = Radio(ble, uuid, self, access)
        try:
            self.radio.start()
        except OSError as error:
            # Cues still sound without a radio: that is no reason to stop.
            self.radio = None
            self.add_trouble("radio did not start (%s)" % error)

    def _give_up_flash(self, error):
        """Better a journal that ends with the power than none."""
        self.add_trouble("journal: %s; reps are kept in memory only" % error)
        self.sounder.signal(sounder.ERROR, now_ms())
        before = self.journal
        # Under a name of its own: the numbers of the one on the flash go on from there at the next power-up.
        self.journal = Journal(region.MemoryRegion())
        if before:
            self.journal.go_on_from(before)
        if self.radio:
            self.radio.other_journal(now_ms())

    def add_trouble(self, text):
        # type: (str) -> None
        """Note what is wrong, for the console and the status."""
        if text:
            # The newest first: a host sees no more than a status holds.
            self.trouble = (text if not self.trouble else text + "; " + self.trouble)[:_LONGEST_TROUBLE]
            print("brakebeat:", text)

    # -- what the parts ask ------------------------------------------------------------------------------------

    def _on_rep(self, message):
        try:
            self.journal.put(_RECORD_REP, message)
        except MemoryError:
            self.journal.lost += 1
            raise
        # The wheel has just turned round and is slow: the best moment to collect garbage.
        self._tidy = True

    def _on_cue(self, kind, rep, t_us):
        self.sounder.play(kind, now_ms())
        self.cues.put(kind, rep, t_us)

    def clock_us(self):
        # type: () -> int
        """Microseconds since power-up, on the clock of the reps."""
        return max(self.session.now_us(self.source.now()), 0)

    def uptime_s(self):
        # type: () -> int
        """Whole seconds since power-up; asked each second while a host is there, and by `_detect`."""
        passed = ms_after(now_ms(), self._second_ms) // 1000
        self._second_ms += passed * 1000
        self._uptime_s += max(passed, 0)
        return self._uptime_s

    def take_rig(self, data):
        # type: (bytes) -> str
        """Put a new rig file in force, or say what is wrong with it. Raises OSError where it cannot be kept."""
        try:
            rig = rigfile.parse(data.decode())
        except ValueError as error:
            self.add_trouble("new rig file: %s" % error)
            return str(error)
        replace_file(self._files + "rig.toml", data)
        self.rig = rig
        self.rig_crc = file_crc(self._files + "rig.toml")
        self.trouble = ""
        self._new_session()
        return ""

    def _new_session(self):
        """Begin anew with the rig in force. What is counted since power-up goes on, and so does the clock."""
        old = self.session
        # A host tells reps apart by index and time.
        kept = (old.reps.count, old.overrun, old.incomplete + old.busy, old.bounced, old.missed, old.spurious)
        clock_us = self.clock_us()
        # Two of them may be more than the memory holds.
        self.session = self.tap.session = old = None  # type: ignore[assignment]
        gc.collect()
        session = Session(self.rig, self._on_rep, self._on_cue)
        session.poll(self.source.now())
        session._clock_us = clock_us
        session.go_on_from(kept)
        self.session = self.tap.session = session

    # -- tasks -------------------------------------------------------------------------------------------------

    async def run(self):
        # type: () -> None
        """Run until the source is done (a board's never is) and everything is sent."""
        talk = None
        if self.radio:
            print(self.radio.status_line())
            talk = asyncio.create_task(self._talk(self.radio))
        await self._detect()
        if talk:
            talk.cancel()

    async def _detect(self):
        tidied_ms = now_ms()
        tap = self.tap
        while not self.source.done:
            try:
                self.source.pump(tap if tap.on or tap.always else self.session)
            except MemoryError as error:
                # No room for another session beside this one either.
                gc.collect()
                self.session.leave_out()
                self._note_fault("out of memory, a rep is left out", error)
            except Exception as error:
                self._new_session()
                self._note_fault("detector restarted", error)
            watchdog.feed()
            now = now_ms()
            try:
                self._look_round(now)
            except Exception as error:
                self._note_fault("main loop", error)
            idle = self.session.phase == 0 and ms_after(now, tidied_ms) >= _TIDY_EVERY_MS
            if self._tidy or idle:
                self._tidy = False
                tidied_ms = now
                self.uptime_s()
                gc.collect()
            await sleep_ms(_DETECT_EVERY_MS)

    def _look_round(self, now):
        self.sounder.service(now)
        if self.button:
            self._obey(self.button.service(now), now)
        self._keep(now)

    def _obey(self, meant, now):
        """What the button was pressed for."""
        if meant == button.MUTE:
            self.sounder.mute(now)
        elif meant == button.BOND:
            self.sounder.signal(sounder.BONDABLE, now)
        elif meant == button.NEW_SET and not self.session.phase:
            self.session.reps.arm_set()
            self.sounder.signal(sounder.NEW_SET, now)

    def _keep(self, now):
        """Counts, flash and bonds: what stalls longest waits until the wheel stands."""
        lost = self.source.lost
        self.session.overrun += lost - self._lost
        self._lost = lost
        ticks_now = self.source.now()
        if self.session.busy:
            self.at_rest = False
            self._moved_ticks = ticks_now
        else:
            # What is lost while the wheel stands is no rep's gap.
            self.session.gap_is_over()
            # It stays so, however far the ticks go round, until the next edge.
            self.at_rest = self.at_rest or ticks.after(ticks_now, self._moved_ticks) >= _AT_REST_US
        try:
            self.journal.service(self.at_rest)
        except OSError as error:
            self._give_up_flash(error)
        if self.radio:
            access = self.radio.access
            access.service(now, self.at_rest)
            if access.trouble:
                self.add_trouble(access.trouble)
                access.trouble = ""

    async def _talk(self, radio):
        while True:
            try:
                more = radio.service(now_ms())
            except Exception as error:
                self._note_fault("radio", error)
                more = False
            await sleep_ms(0 if more else _TALK_EVERY_MS)

    def _note_fault(self, what, error):
        self.faults += 1
        if self.faults == 1:
            self.sounder.signal(sounder.ERROR, now_ms())
            self.add_trouble("%s: %r" % (what, error))
            if hasattr(sys, "print_exception"):
                sys.print_exception(error)


def main(rig_path="rig.toml"):
    # type: (str) -> None
    """Boot: read the rig file, set up what is wired, run for ever. Whatever is missing is told, not fatal."""
    asyncio.run(_boot(rig_path))


async def _boot(rig_path):
    rig, rig_trouble = ports.load(rig_path)
    machine = ports.pins()
    source, source_trouble = sources.from_rig(rig, machine)
    if source.kind:
        told = (source.kind,) + boards.SOURCES[source.kind]
        print("brakebeat: edges by %s, to %d us, up to %d a second, losses counted: %d" % told)
    the_sounder, sounder_trouble = sounder.from_rig(rig, machine)
    link, radio_trouble = ports.link()
    troubles = (rig_trouble, source_trouble, sounder_trouble, radio_trouble)
    if rig_trouble or source_trouble:
        the_sounder.signal(sounder.ERROR, now_ms())
    await App(rig, source, the_sounder, link, troubles, machine, "", region.find()).run()
