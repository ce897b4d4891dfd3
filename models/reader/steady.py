"""What every fit ships: a network's weights averaged over the last thousand steps or so."""

import copy

import torch


class Steady:
    """Follows a model that is being fitted; model is its average."""

    def __init__(self, model):
        self.model = copy.deepcopy(model).eval()
        self.kept, self.live = ([q for q in m.state_dict().values() if q.dtype.is_floating_point] for m in (self.model, model))

    @torch.no_grad()
    def follow(self, step):
        """Takes in what the model is after so many steps before this one."""
        keep = min(0.999, (step + 1) / (step + 10))
        torch._foreach_mul_(self.kept, keep)
        torch._foreach_add_(self.kept, self.live, alpha=1 - keep)
