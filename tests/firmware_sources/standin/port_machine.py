"""A board's `machine`, as far as the firmware uses it: each call is checked against the port's stubs."""

from checked import check, constant, made


def module(world):
    """A module object with the classes that ``world``'s port has."""

    class Pin:
        def __init__(self, *args, **kwargs):
            made("machine.Pin", args, kwargs)
            if not isinstance(args[0], int):
                raise TypeError("pin number needed")
            if args[0] > 48:
                raise ValueError("invalid pin")
            self.number = args[0]
            if "value" in kwargs:
                world.levels[self.number] = kwargs["value"]

        def irq(self, *args, **kwargs):
            check("machine.Pin.irq", args, kwargs)
            if "hard" in kwargs and not world.hard:
                # ports/esp32/machine_pin.c takes handler, trigger and wake, whatever the common stubs say.
                raise TypeError("extra keyword arguments given")
            world.irqs[self.number] = (args[0], args[1], self, Pin.IRQ_FALLING, Pin.IRQ_RISING)

        def value(self, *args):
            check("machine.Pin.value", args)
            if args:
                world.writes += 1
                world.levels[self.number] = args[0]
                return None
            return world.level(self.number)

    for name in ("IN", "OUT", "PULL_UP", "IRQ_FALLING", "IRQ_RISING"):
        setattr(Pin, name, constant("machine.Pin." + name))
    if world.port == "rp2":
        Pin.ALT_PIO0 = constant("machine.Pin.ALT_PIO0")

    class PWM:
        def __init__(self, *args, **kwargs):
            made("machine.PWM", args, kwargs)
            self.hertz = kwargs["freq"]
            self.duty = kwargs["duty_u16"]
            world.machines.append(self)

        def freq(self, *args):
            check("machine.PWM.freq", args)
            world.writes += 1
            self.hertz = args[0]
            world.tones.append(args[0])

        def duty_u16(self, *args):
            check("machine.PWM.duty_u16", args)
            world.writes += 1
            self.duty = args[0]

    class WDT:
        def __init__(self, *args, **kwargs):
            made("machine.WDT", args, kwargs)
            # An RP2040 waits no longer than that (its data sheet, from memory).
            if kwargs["timeout"] > 8388:
                raise ValueError("timeout exceeds 8388")

        def feed(self):
            check("machine.WDT.feed")
            world.fed += 1

    class Timer:
        PERIODIC = constant("machine.Timer.PERIODIC")

        def __init__(self, *args, **kwargs):
            made("machine.Timer", args, kwargs)
            if (args[0] == -1) != (world.port == "rp2"):
                raise ValueError("Timer doesn't exist")
            self.period_us = kwargs["period"] * 1000 if "period" in kwargs else 1000000 // kwargs["freq"]
            self.callback = kwargs["callback"]
            self.next_us = world.now_us + self.period_us
            world.timers.append(self)

        def deinit(self):
            check("machine.Timer.deinit")
            world.timers.remove(self)

    class ADC:
        def __init__(self, *args):
            made("machine.ADC", args, {})

        def read_u16(self):
            check("machine.ADC.read_u16")
            return 40000

    def freq():
        check("machine.freq")
        return world.hertz

    def reset():
        check("machine.reset")
        world.resets += 1
        raise SystemExit(3)

    found = Found()
    for each in (("Pin", Pin), ("PWM", PWM), ("WDT", WDT), ("Timer", Timer), ("ADC", ADC)):
        setattr(found, *each)
    found.freq = freq
    found.reset = reset
    world.hertz = 125000000 if world.port == "rp2" else 160000000
    return found


class Found:
    """In place of a module: MicroPython cannot make one."""
