"""What stands around a board: levels of pins, time, and what a port does with an edge. Runs on the MicroPython VM."""

# A port whose handlers are scheduled has so many places for them (8 on the ESP32: its mpconfigport.h, from memory).
QUEUE = 8


class World:
    """One board's surroundings."""

    def __init__(self, port, hard, pulse_counter):
        self.port = port
        self.hard = hard
        self.pulse_counter = pulse_counter
        self.now_us = 1000
        self.levels = {}
        self.irqs = {}
        self.queue = []
        self.dropped = 0
        self.counters = []
        self.timers = []
        self.resets = 0
        self.fed = 0
        self.tones = []
        self.writes = 0
        self.machines = []
        self.channels = []

    def level(self, number):
        """A pin's level; pull-ups hold what nobody drives."""
        return self.levels.get(number, 1)

    def drive(self, number, level, handlers=True):
        """An edge comes: hardware counters see it at once, handlers when the port calls them."""
        before = self.level(number)
        if level == before:
            return
        self.levels[number] = level
        for counter in self.counters:
            counter.edge(number, level)
        handler, trigger, pin, falling, rising = self.irqs.get(number, (None, 0, None, 0, 0))
        if handler and trigger & (rising if level else falling):
            if self.hard:
                handler(pin)
            elif len(self.queue) < QUEUE:
                self.queue.append((handler, pin))
            else:
                self.dropped += 1
        if handlers:
            self.run_queue()

    def run_queue(self):
        """The VM comes round to what is scheduled."""
        while self.queue:
            handler, pin = self.queue.pop(0)
            handler(pin)

    def pass_us(self, duration_us):
        """Time goes on; timers fire when they are due."""
        end = self.now_us + duration_us
        while True:
            due = [timer for timer in self.timers if timer.next_us <= end]
            if not due:
                break
            first = due[0]
            for timer in due:
                if timer.next_us < first.next_us:
                    first = timer
            self.now_us = max(self.now_us, first.next_us)
            first.next_us += first.period_us
            first.callback(first)
        self.now_us = end
