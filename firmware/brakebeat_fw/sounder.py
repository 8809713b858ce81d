"""Cues: a buzzer on a PWM pin, a vibration motor, a lamp. Starting one costs a pin write, never a wait."""

from micropython import const

from .clock import ms_after

# What each kind of cue sounds like, in the order of their numbers (window, late, drop-off, set done), then what the
# board itself has to say: (hertz, milliseconds) one after the other, 0 Hz is a pause. A motor has only the rhythm, and
# turns from some 50 ms on.
PATTERNS = (
    ((1200, 60),),
    ((2600, 150),),
    ((700, 120), (0, 60), (700, 120)),
    ((900, 100), (1200, 100), (1600, 250)),
    ((300, 400), (0, 200), (300, 400), (0, 200), (300, 800)),
    ((1500, 60), (0, 60), (1500, 60)),
    ((800, 100), (1500, 100)),
    ((2000, 60), (0, 60), (2000, 60), (0, 60), (2000, 60)),
)
ERROR = const(4)
NEW_SET = const(5)
AUDIBLE = const(6)
BONDABLE = const(7)
# Window and late must not wait for an earlier one to end: they are worth something only now.
_LAST_URGENT = const(1)
_MOST_WAITING = const(4)


class Sounder:
    """Plays cue patterns on ``outputs``: objects with ``tone(hertz)``, 0 for silence, and ``loud``; none is fine."""

    def __init__(self, outputs=()):
        self._outputs = outputs
        self._pattern = ()  # type: tuple[tuple[int, int], ...]
        self._position = 0
        self._since_ms = 0
        self._waiting = []  # type: list[int]
        # The lamp alone goes on.
        self.muted = False
        # Cues so far, heard or not.
        self.sounded = 0

    def play(self, kind, now_ms):
        # type: (int, int) -> None
        """Start the sound of cue ``kind`` (urgent ones at once, others after the one that sounds)."""
        self.sounded += 1
        self.signal(kind, now_ms)

    def mute(self, now_ms):
        # type: (int) -> None
        """Silent if it was not, else audible again, which is heard."""
        self.muted = not self.muted
        if self.muted:
            self._silence()
        self.signal(AUDIBLE, now_ms)

    def signal(self, kind, now_ms):
        # type: (int, int) -> None
        """As `play`, for what is no cue."""
        if kind >= len(PATTERNS):
            return
        if self._pattern and kind > _LAST_URGENT:
            if len(self._waiting) < _MOST_WAITING:
                self._waiting.append(kind)
            return
        self._begin(kind, now_ms)

    def service(self, now_ms):
        # type: (int) -> None
        """Go on to the pattern's next tone when it is time."""
        if not self._pattern:
            return
        if ms_after(now_ms, self._since_ms) < self._pattern[self._position][1]:
            return
        self._position += 1
        if self._position < len(self._pattern):
            self._tone(now_ms)
        elif self._waiting:
            self._begin(self._waiting.pop(0), now_ms)
        else:
            self._pattern = ()
            self._silence()

    def _begin(self, kind, now_ms):
        self._pattern = PATTERNS[kind]
        self._position = 0
        self._tone(now_ms)

    def _tone(self, now_ms):
        self._since_ms = now_ms
        hertz = self._pattern[self._position][0]
        for output in self._outputs:
            if not (self.muted and output.loud):
                output.tone(hertz)

    def _silence(self):
        for output in self._outputs:
            output.tone(0)


class Buzzer:
    """A passive buzzer on a pin that can do PWM. volume: 0 (silent) to 1 (half the time on, the loudest)."""

    loud = True

    def __init__(self, machine, pin, volume=1.0):
        # Without a duty some ports begin with a tone.
        self._pwm = machine.PWM(machine.Pin(pin), freq=1000, duty_u16=0)
        self._duty = int(32768 * min(max(volume, 0.0), 1.0))

    def tone(self, hertz):
        # type: (int) -> None
        """Sound at ``hertz``; 0 is silence."""
        if hertz:
            self._pwm.freq(hertz)
            self._pwm.duty_u16(self._duty)
        else:
            self._pwm.duty_u16(0)


class Lamp:
    """A lamp on a pin, lit while a tone sounds; or a motor, which is ``loud``: not to be felt while muted."""

    def __init__(self, machine, pin, loud=False):
        self.loud = loud
        self._pin = machine.Pin(pin, machine.Pin.OUT, value=0)

    def tone(self, hertz):
        # type: (int) -> None
        """Lit unless ``hertz`` is 0."""
        self._pin.value(1 if hertz else 0)


def from_rig(rig, machine):
    # type: (dict[str, object], object | None) -> tuple[Sounder, str]
    """The sounder that the rig file asks for, and what could not be had (empty if all is well).

    Where there are no pins (a computer) the sounder only counts.
    """
    if machine is None:
        return Sounder(), ""
    outputs = []  # type: list[object]
    trouble = ""
    for key in ("board.buzzer_pin", "board.led_pin", "board.motor_pin"):
        pin = rig.get(key)
        if pin is None:
            continue
        try:
            if key == "board.buzzer_pin":
                outputs.append(Buzzer(machine, pin, rig.get("board.volume", 1.0)))
            else:
                outputs.append(Lamp(machine, pin, key == "board.motor_pin"))
        except (ValueError, TypeError, OSError) as error:
            trouble = "%s: %r cannot be used (%s); choose another pin" % (key, pin, error)
    return Sounder(outputs), trouble
