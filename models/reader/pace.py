"""How far a fit is, and what rate goes with that; by a number of steps, or by how long it may take."""

import math
import time

RISES = 0.1  # part of a fit in which its rate rises
EVERY = 25  # steps after which the clock is asked


class Pace:
    """One cycle of rate and momentum by cosines (Smith and Topin 2018, Super-Convergence). The clock, if it goes by that, begins with the first step."""

    def __init__(self, opt, rate, steps, minutes=None, agreed=lambda part: part):
        """agreed is what all of several GPUs take for the part that is done: were each to go by a clock of its own, one would wait for others that have ended."""
        self.opt, self.rate, self.steps, self.minutes, self.agreed = opt, rate, steps, minutes, agreed
        self.begun, self.part = None, 0.0

    def on(self, step):
        """Sets what goes with the step that is next; tells whether there is to be one."""
        if not self.minutes:
            self.part = step / self.steps
        elif step % EVERY == 0:
            self.begun = self.begun or time.monotonic()
            self.part = self.agreed((time.monotonic() - self.begun) / 60 / self.minutes)
        if self.part >= 1:
            return False
        rising = self.part < RISES
        wave = (1 - math.cos(math.pi * (self.part / RISES if rising else (self.part - RISES) / (1 - RISES)))) / 2
        for group in self.opt.param_groups:
            group["lr"] = self.rate * (0.04 + 0.96 * wave if rising else 1 - wave)
            group["betas"] = (0.95 - 0.1 * (wave if rising else 1 - wave), 0.999)
        return True
