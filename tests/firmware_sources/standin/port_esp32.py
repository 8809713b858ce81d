"""A board's `esp32`: its pulse counter counts what the world's pins do, and starts again at its limits."""

from checked import check, constant, made
from port_machine import Found


def module(world):
    """A module object; a chip without a pulse counter has none in it."""

    class PCNT:
        def __init__(self, *args, **kwargs):
            made("esp32.PCNT", args, kwargs)
            self.least = kwargs.pop("min", 0)
            self.most = kwargs.pop("max", 0)
            self.count = 0
            self.channels = {}
            self.running = False
            world.counters.append(self)

        def init(self, **kwargs):
            check("esp32.PCNT.init", (), kwargs)
            self.channels[kwargs.pop("channel", 0)] = kwargs

        def start(self):
            check("esp32.PCNT.start")
            self.running = True

        def value(self, *args):
            check("esp32.PCNT.value", args)
            return self.count

        def edge(self, number, level):
            for channel in self.channels.values():
                if not self.running or channel["pin"].number != number:
                    continue
                action = channel.get("rising" if level else "falling", PCNT.IGNORE)
                by = {PCNT.IGNORE: 0, PCNT.INCREMENT: 1, PCNT.DECREMENT: -1}[action]
                if "mode_pin" in channel:
                    mode = channel.get("mode_high" if world.level(channel["mode_pin"].number) else "mode_low")
                    by = -by if mode == PCNT.REVERSE else by
                self.count += by
                if self.count == self.most or self.count == self.least:
                    self.count = 0

    for name in ("IGNORE", "INCREMENT", "DECREMENT", "REVERSE"):
        setattr(PCNT, name, constant("esp32.PCNT." + name))
    found = Found()
    if world.pulse_counter:
        found.PCNT = PCNT
    return found
